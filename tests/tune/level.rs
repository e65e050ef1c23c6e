//! The level on the page: slots and moods come, go and change their names in single steps; the address stays.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set, value};
use crate::controls::open;
use serde_json::{Value, json};
use std::io::{Read, Write};

fn choose(browser: &Browser, id: &str, value: &str) {
    browser.run(&format!("const select = document.getElementById('{id}'); select.value = '{value}'; select.dispatchEvent(new Event('change'));"));
}

fn names(state: &Value) -> Vec<String> {
    state["slots"].as_array().unwrap().iter().map(|slot| slot["name"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn slots_are_renamed_hidden_removed_and_added_in_single_steps_with_every_comment() {
    let text = format!(
        "{}\n# in the evening\n[mood.dusk.slot.veil]\ndepth = 250 # nearer\n",
        SCENE.replace("name = \"veil\"", "# thin\nname = \"veil\"   # a sheet alone")
    );
    let tune = Tune::start(&text);
    let mut page = tune.socket();
    let steps = [
        (
            json!({ "do": "rename", "slot": "veil", "name": "mist over the pond" }),
            text.replace(
                "name = \"veil\"   # a sheet alone",
                "name = \"mist over the pond\"   # a sheet alone\nstream = \"veil\"",
            )
            .replace("slot.veil", "slot.\"mist over the pond\""),
        ),
        (json!({ "do": "hide", "slot": "ridge", "hidden": true }), String::new()),
        (json!({ "do": "add", "name": "air", "depth": 50.5 }), String::new()),
        (json!({ "do": "remove", "slot": "hut" }), String::new()),
    ];
    for (at, (step, wanted)) in steps.iter().enumerate() {
        page.act(step.clone()).unwrap();
        let state = page.now();
        assert_eq!(state["steps"], json!([at + 1, 0]), "{step}");
        page.act(json!({ "do": "save" })).unwrap();
        let saved = tune.file();
        for comment in ["# thin", "# a sheet alone", "# in the evening", "# nearer"] {
            assert!(saved.contains(comment), "{comment} after {step}");
        }
        assert!(wanted.is_empty() || saved == *wanted, "{saved}");
    }
    let state = page.now();
    let all = names(&state);
    assert!(
        all.contains(&"mist over the pond".into())
            && all.contains(&"air".into())
            && !all.contains(&"hut".into()),
        "{all:?}"
    );
    assert_eq!(value(&state, Some("ridge"), "slot.fog")[0], false);
    assert_eq!(value(&state, Some("air"), "slot.depth")[0], 50.5);
    for _ in 0..4 {
        page.act(json!({ "do": "undo" })).unwrap();
    }
    page.act(json!({ "do": "save" })).unwrap();
    assert_eq!(tune.file(), text, "to the byte");
    // What can't be is refused, and nothing has changed.
    for bad in [
        json!({ "do": "rename", "slot": "veil", "name": "hut" }),
        json!({ "do": "rename", "slot": "veil", "name": "a/b" }),
        json!({ "do": "remove", "slot": "nobody" }),
        json!({ "do": "make", "mood": "dusk" }),
        json!({ "do": "mood", "name": "dawn" }),
        json!({ "do": "unmake", "mood": "dawn" }),
    ] {
        assert!(page.act(bad.clone()).is_err(), "{bad}");
    }
    assert_eq!(page.now()["unsaved"], false);
}

#[test]
fn the_page_renames_hides_and_removes_the_chosen_slot() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    choose(&browser, "subject", "veil");
    browser.run("const input = document.getElementById('slot-name'); input.focus(); input.value = 'mist'; input.dispatchEvent(new Event('change')); input.blur();");
    browser.until("return document.getElementById('subject').value === 'mist'");
    browser.run("document.getElementById('hide').click()");
    browser.until("return document.getElementById('hide').getAttribute('aria-pressed') === 'true'");
    browser.run("document.getElementById('hide').click()");
    browser.until("return document.getElementById('hide').getAttribute('aria-pressed') === 'false'");
    browser.run("document.getElementById('remove').click()");
    browser.until("return document.getElementById('subject').value === '' && document.querySelector('[data-grip=\"depth/mist\"]') === null");
    for _ in 0..4 {
        browser.run("document.getElementById('undo').click()");
        browser.settle();
    }
    browser.until("return document.getElementById('unsaved').hidden");
    // A slot is put behind another by dragging it there, in one step.
    browser.until("return document.querySelector('[data-grip=\"depth/veil\"]') !== null");
    let x = |name: &str| {
        browser.run(&format!("const box = document.querySelector('[data-grip=\"depth/{name}\"] .target').getBoundingClientRect(); return box.left + box.width / 2")).as_f64().unwrap()
    };
    let by = x("ridge") - x("veil") + 30.0;
    browser.pull("[data-grip=\"depth/veil\"] .pill", [by as i64, 0], 6);
    browser.until("return !document.getElementById('undo').disabled");
    let state = tune.socket().now();
    let depth = |name: &str| value(&state, Some(name), "slot.depth")[0].as_f64().unwrap();
    assert!(depth("veil") > depth("ridge"));
    assert_eq!(state["steps"][0], 1);
}

#[test]
fn a_picture_that_is_dropped_is_copied_beside_the_scene_and_becomes_a_slot() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let drop = |name: &str| {
        format!(
            "const canvas = document.createElement('canvas'); canvas.width = 30; canvas.height = 20; const pen = canvas.getContext('2d'); pen.fillStyle = '#453'; pen.fillRect(5, 5, 20, 15); \
             canvas.toBlob((blob) => {{ const all = new DataTransfer(); all.items.add(new File([blob], '{name}')); const box = document.getElementById('stage').getBoundingClientRect(); \
             document.getElementById('stage').dispatchEvent(new DragEvent('drop', {{ dataTransfer: all, bubbles: true, cancelable: true, clientX: box.left + box.width / 2, clientY: box.top + 50 }})); }});"
        )
    };
    browser.run(&drop("the boat.png"));
    browser.until("return document.getElementById('subject').value === 'the-boat'");
    let folder = tune.scene.parent().unwrap().to_path_buf();
    assert!(folder.join("the-boat.png").is_file());
    let mut page = tune.socket();
    let state = page.now();
    assert_eq!(value(&state, Some("the-boat"), "slot.art")[0], "the-boat.png");
    assert_eq!((&state["steps"], &state["unsaved"]), (&json!([1, 0]), &json!(true)));
    assert_eq!(tune.file(), SCENE, "nothing is written into the scene before it is saved");
    page.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(page.now()["unsaved"], false);
    // No picture: told, and not kept.
    browser.run("const all = new DataTransfer(); all.items.add(new File(['no picture'], 'bad.png')); document.getElementById('stage').dispatchEvent(new DragEvent('drop', { dataTransfer: all, bubbles: true, cancelable: true, clientX: 300, clientY: 300 }));");
    browser.until("return document.getElementById('said').classList.contains('bad')");
    assert!(!folder.join("bad.png").exists());
}

/// A request with a body; the status.
fn post(tune: &Tune, path: &str, origin: Option<&str>, body: &[u8]) -> u16 {
    let mut stream = std::net::TcpStream::connect(("127.0.0.1", tune.port)).unwrap();
    let origin = origin.map_or(String::new(), |origin| format!("Origin: {origin}\r\n"));
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {}\r\n{origin}Content-Length: {}\r\n\r\n",
        tune.host(),
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    let _ = stream.write_all(body);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0)
}

#[test]
fn pictures_come_from_the_page_alone_and_stay_in_the_scenes_folder() {
    let tune = Tune::start(SCENE);
    let picture = std::fs::read(tune.scene.parent().unwrap().join("hut.png")).unwrap();
    let own = format!("http://{}", tune.host());
    let path = format!("/{}/picture?name=boat.png&depth=3", tune.token);
    assert_eq!(post(&tune, &path, None, &picture), 400);
    assert_eq!(post(&tune, &path, Some("http://example.com"), &picture), 403);
    assert_eq!(post(&tune, &path.replace(&tune.token, &"0".repeat(32)), Some(&own), &picture), 404);
    let folder = tune.scene.parent().unwrap();
    let there = || -> std::collections::BTreeSet<String> {
        let names = std::fs::read_dir(folder).unwrap().flatten().map(|entry| entry.file_name());
        let names = names.map(|name| name.into_string().unwrap());
        // What keeps unsaved edits comes and goes.
        names.filter(|name| !name.contains(".unsaved") && !name.ends_with(".part")).collect()
    };
    let before = there();
    for bad in ["name=..%2F..%2Fboat.toml", "name=scene.toml", "name=", ""] {
        assert_eq!(
            post(&tune, &format!("/{}/picture?{bad}", tune.token), Some(&own), &picture),
            422,
            "{bad}"
        );
    }
    assert_eq!(there(), before);
    assert_eq!(
        post(&tune, &format!("/{}/picture?name=..%2Fboat.png&depth=3", tune.token), Some(&own), &picture),
        200
    );
    let more: Vec<_> = there().difference(&before).cloned().collect();
    assert_eq!(more, ["boat.png"]);
    // Another picture of a name that is taken gets a name of its own.
    let sky = std::fs::read(folder.join("sky.png")).unwrap();
    assert_eq!(post(&tune, &path, Some(&own), &sky), 200);
    assert_eq!(std::fs::read(folder.join("boat-2.png")).unwrap(), sky);
    assert_eq!(std::fs::read(folder.join("boat.png")).unwrap(), picture);
}

#[test]
fn moods_are_made_chosen_compared_and_removed_on_the_page() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    choose(&browser, "mood", "+");
    browser.until("return document.activeElement.id === 'mood-name'");
    for key in ["d", "u", "s", "k", "\u{e007}"] {
        browser.press("", key);
    }
    browser.until("return document.getElementById('mood').value === ':dusk'");
    let mut page = tune.socket();
    page.act(set(None, "air.visibility", json!(400))).unwrap();
    page.act(set(None, "air.haze", json!("#998877"))).unwrap();
    page.act(set(Some("veil"), "smear.length", json!(80))).unwrap();
    page.act(set(Some("veil"), "slot.depth", json!(220))).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    // In the order of the table of keys, whatever was set first.
    let wanted = "\n[mood.dusk.air]\nhaze = \"#998877\"\nvisibility = 400\n\n[mood.dusk.slot.veil]\ndepth = 220\nsmear.length = 80\n";
    assert_eq!(tune.file(), format!("{SCENE}{wanted}"));
    choose(&browser, "mood", "");
    browser.until(
        "return document.querySelector('[data-key=\"air.visibility\"] input[type=text]').value === '1500'",
    );
    choose(&browser, "compare", ":dusk");
    browser.until("return !document.getElementById('other').hidden");
    assert_ne!(browser.look("other"), browser.look("now"));
    choose(&browser, "mood", ":dusk");
    browser.until(
        "return document.querySelector('[data-key=\"air.visibility\"] input[type=text]').value === '400'",
    );
    browser.run("document.getElementById('unmake').click()");
    browser.until(
        "return document.getElementById('mood').value === '' && document.getElementById('unmake').hidden",
    );
    page.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(page.now()["moods"], json!(["dusk"]));
    // A step back to where a mood wasn't there yet leads to the scene itself.
    page.act(json!({ "do": "mood", "name": "dusk" })).unwrap();
    for _ in 0..5 {
        page.act(json!({ "do": "undo" })).unwrap();
    }
    let state = page.now();
    assert_eq!((&state["mood"], &state["moods"], &state["faults"]), (&Value::Null, &json!([]), &Value::Null));
}

#[test]
fn the_address_is_good_again_after_a_restart() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let address = tune.address.clone();
    let tune = tune.again();
    assert_eq!(tune.address, address);
    browser
        .until("return document.getElementById('gone') === null && !document.getElementById('desk').inert");
    browser.run("const input = document.querySelector('[data-key=\"air.visibility\"] input[type=text]'); input.focus(); input.value = '800'; input.dispatchEvent(new Event('change'));");
    browser.until("return !document.getElementById('unsaved').hidden");
    assert_eq!(value(&tune.socket().state, None, "air.visibility")[0], 800.0);
    // Nobody else can read where it is kept.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let kept = tune.scene.parent().unwrap().join("state/fogweft/addresses");
        assert_eq!(std::fs::metadata(kept).unwrap().permissions().mode() & 0o077, 0);
    }
}

#[test]
fn presets_are_chosen_from_small_pictures_of_this_scene_and_what_drifts_is_played_on_demand() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    choose(&browser, "subject", "veil");
    browser.run("document.getElementById('recipes').open = true");
    // Each is drawn, and they differ.
    let looks = "[...document.querySelectorAll('#shelf canvas')].map((canvas) => canvas.width === 300 ? 0 : canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.reduce((sum, code, at) => (Math.imul(sum, 31) + code) | 0, 7))";
    browser.until(&format!("return {looks}.length >= 14 && {looks}.every((look) => look !== 0)"));
    let different = browser.run(&format!("return new Set({looks}).size"));
    assert!(different.as_u64().unwrap() >= 10, "{different}");
    let look = browser.look("now");
    browser.run("document.querySelector('#shelf button:not([aria-pressed=true])').click()");
    browser.until("return !document.getElementById('unsaved').hidden");
    let state = tune.socket().now();
    assert_eq!(
        (&value(&state, Some("veil"), "slot.preset")[2], &state["steps"]),
        (&json!(true), &json!([1, 0]))
    );
    assert_ne!(browser.look("now"), look);
    browser.run("document.getElementById('undo').click(); document.getElementById('recipes').open = false");
    browser.until("return document.getElementById('unsaved').hidden && document.documentElement.dataset.settled === 'true'");
    let still = browser.look("now");
    browser.run("document.getElementById('drift').click()");
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..6 {
        std::thread::sleep(std::time::Duration::from_millis(300));
        seen.insert(browser.look("now").to_string());
    }
    assert!(seen.len() >= 3, "{seen:?}");
    browser.run("document.getElementById('drift').click()");
    let start = std::time::Instant::now();
    while browser.look("now") != still {
        assert!(start.elapsed().as_secs() < 30, "the still comes back");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(tune.file(), SCENE);
}
