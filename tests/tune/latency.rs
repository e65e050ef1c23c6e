//! Measurements of the page, not tests: `cargo test --release --test tune latency -- --ignored --nocapture --test-threads 1`, alone on a quiet
//! machine. What was measured stands in `tests/bench/page.txt`.

use crate::browser::Browser;
use crate::client::Tune;
use serde_json::Value;
use std::time::Duration;

fn settled(browser: &Browser) {
    browser.until("return document.documentElement.dataset.settled === 'true'");
}

/// Also times when the page has drawn the frame that a picture is in.
const TO_FRAME: &str = r#"
const measure = performance.measure.bind(performance);
performance.measure = (name, times) => {
  measure(name, times);
  if (name !== 'input to picture') return;
  requestAnimationFrame(() => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = () => measure('input to frame', { start: times.start, end: performance.now() });
    port2.postMessage(0);
  });
};"#;

/// The page on a copy of the demo, in a browser that times its pictures.
fn timed() -> Option<(Tune, Browser)> {
    let tune = Tune::demo();
    let browser = Browser::start(false)?;
    browser.size(1440, 900);
    browser.goto(&tune.address);
    settled(&browser);
    std::thread::sleep(Duration::from_secs(2));
    browser.run(TO_FRAME);
    Some((tune, browser))
}

fn report(name: &str, times: &mut [f64]) {
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize];
    println!(
        "{name}: {} inputs, median {:.1} ms, 95th percentile {:.1} ms, most {:.1} ms",
        times.len(),
        at(0.5),
        at(0.95),
        at(1.0)
    );
}

/// Chooses a slot, or all, runs `more`, and forgets what was timed.
fn chosen(browser: &Browser, slot: &str, more: &str) {
    browser.run(&format!("const select = document.getElementById('subject'); select.value = '{slot}'; select.dispatchEvent(new Event('change')); {more} performance.clearMeasures()"));
    browser.settle();
    // Somebody looks at what came of it before going on.
    settled(browser);
}

/// Pulls there and back forty times, never as far as just before, so that most values come again after ten pulls at the earliest; what was
/// timed from input to picture, and to frame.
fn pulls(browser: &Browser, selector: &str, by: [i64; 2]) -> [Vec<f64>; 2] {
    for turn in 0..40 {
        let way = if turn % 2 == 0 { 1 } else { -1 };
        let far = |by: i64| (by + by.signum() * 6 * (turn % 5)) * way;
        browser.pull(selector, by.map(far), 6);
    }
    std::thread::sleep(Duration::from_millis(500));
    ["input to picture", "input to frame"].map(|word| {
        let found = browser
            .run(&format!("return performance.getEntriesByName('{word}').map((entry) => entry.duration)"));
        found.as_array().unwrap().iter().filter_map(Value::as_f64).collect()
    })
}

/// How long two hundred drags take to be seen, on the demo.
#[test]
#[ignore = "a measurement"]
fn latency_of_two_hundred_drags() {
    let Some((_tune, browser)) = timed() else { return };
    // By drags before those that are timed the program finds how large drafts may be, as it does while somebody works.
    for _ in 0..2 {
        chosen(&browser, "", "");
        let _ = pulls(&browser, "[data-grip=\"visibility\"] .seen-pill", [-60, 0]);
    }
    let (mut all, mut drawn): (Vec<f64>, Vec<f64>) = Default::default();
    for (name, more, selector, by) in [
        ("depth of a slot", "", "[data-grip=\"depth/hut\"] .pill", [60, 0]),
        ("top edge of the fog", "", "[data-grip=\"top/barge\"] .bar", [0, -30]),
        ("visibility", "", "[data-grip=\"visibility\"] .seen-pill", [-60, 0]),
        ("light", "", "[data-key=\"air.light\"] input[type=range]", [30, 0]),
        ("camera", "", "#stage", [-150, 0]),
        (
            "curve along the travel",
            "document.getElementById('along-add').click();",
            ".point:nth-of-type(2)",
            [40, -10],
        ),
    ] {
        chosen(&browser, "", more);
        let [mut times, frames] = pulls(&browser, selector, by);
        report(name, &mut times);
        assert!(times.len() > 40, "{name}: {} pictures", times.len());
        all.extend(times);
        drawn.extend(frames);
    }
    report("all", &mut all);
    report("until the frame with the picture is drawn", &mut drawn);
}

/// The same of forty strokes one after the other, into one slot.
#[test]
#[ignore = "a measurement"]
fn latency_of_strokes() {
    let Some((_tune, browser)) = timed() else { return };
    chosen(&browser, "barge", "document.getElementById('draw').click();");
    let [mut times, _] = pulls(&browser, "#stage", [120, -30]);
    report("strokes", &mut times);
    assert!(times.len() > 40, "{} pictures", times.len());
}

/// What is in view at its own texels, exactly: after the part in view was moved, and after an edit.
#[test]
#[ignore = "a measurement"]
fn latency_of_exact_pictures() {
    let Some((_tune, browser)) = timed() else { return };
    chosen(
        &browser,
        "barge",
        "const zoom = document.getElementById('zoom'); zoom.value = '1'; zoom.dispatchEvent(new Event('change'));",
    );
    browser.until("return document.documentElement.dataset.texels !== '' && document.documentElement.dataset.settled === 'true'");
    std::thread::sleep(Duration::from_secs(2));
    let moved = |turn: u32| {
        let by = if turn.is_multiple_of(2) { "140, 40" } else { "-140, -40" };
        browser.later(&format!(
            "const part = document.getElementById('part'); const at = () => part.style.left + part.style.top; const before = at();\
             import(new URL('zoom.js', location.href)).then(({{ shift }}) => {{\
             const start = performance.now(); shift([{by}]);\
             const look = () => at() !== before && !part.hidden ? done(performance.now() - start) : requestAnimationFrame(look); look(); }});"
        ))
    };
    let mut parts: Vec<f64> = (0..40).filter_map(|turn| moved(turn).as_f64()).collect();
    assert!(parts.len() == 40);
    report("exact after the part in view was moved at 100 %", &mut parts);
    let edit = |number: f64| {
        let times = browser.later(&format!(
            "const data = document.documentElement.dataset; const before = data.turn; const start = performance.now(); let first = 0;\
             const input = document.querySelector('[data-key=\"grade.thickness\"] input[type=text]'); input.value = '{number}'; input.dispatchEvent(new Event('change'));\
             const look = () => {{ if (data.turn !== before && data.texels) {{ first ||= performance.now() - start;\
             if (data.settled === 'true') return done([first, performance.now() - start]); }} requestAnimationFrame(look); }}; look();"
        ));
        [0, 1].map(|at| times[at].as_f64().unwrap())
    };
    let times: Vec<[f64; 2]> = (0..40).map(|turn| edit(1.0 + 0.01 * f64::from(turn))).collect();
    for (at, name) in ["with the rims of before", "exact"].into_iter().enumerate() {
        let mut times: Vec<f64> = times.iter().map(|times| times[at]).collect();
        report(&format!("{name} after an edit at 100 %"), &mut times);
    }
}
