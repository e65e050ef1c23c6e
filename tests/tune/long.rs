//! An hour at the page doesn't make its server grow.

use crate::client::{Picture, SCENE, Socket, Tune, memory, set};
use serde_json::{Value, json};
use std::time::{Duration, Instant};

/// `FOGWEFT_PAGE_EDITS` of them, each with its draft waited for, every twentieth with its settled picture, and every tenth saved: at about
/// a second each, 3,600 make an hour.
#[test]
fn an_hour_at_the_page_does_not_grow() {
    let edits: usize = std::env::var("FOGWEFT_PAGE_EDITS").map_or(40, |text| text.parse().expect("a number"));
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    let (mut early, mut waited) = (0, [0, 0]);
    for edit in 0..edits {
        // What a painter moves: air, a slot, its shape.
        let (slot, key, value) = match edit % 4 {
            0 => (None, "air.visibility", json!(300 + 7 * (edit % 210))),
            1 => (Some("veil"), "smear.length", json!(10 + edit % 70)),
            2 => (Some("ridge"), "falloff.height", json!(20 + edit % 90)),
            _ => (Some("veil"), "bands.amount", json!((edit % 100) as f64 / 100.0)),
        };
        let stamp = sent(&mut page, set(slot, key, value));
        let settled = edit % 20 == 19;
        if edit % 10 == 9 {
            page.act(json!({ "do": "save" })).unwrap();
        }
        // Where a draft took long, its settled picture may come in its place.
        let fits =
            |one: &Picture| u64::from(one.stamp) >= stamp && one.kind == 0 && (one.settled || !settled);
        while !page.pictures.iter().any(fits) {
            page.until("picture");
        }
        waited[usize::from(settled)] += 1;
        page.pictures.clear();
        if edit == edits / 4 {
            early = memory(&tune.child).unwrap_or(0);
        }
    }
    crate::equal::compare(&tune, &{
        page.act(json!({ "do": "save" })).unwrap();
        page.now()
    });
    let late = memory(&tune.child).unwrap_or(0);
    println!(
        "{} drafts and {} settled pictures waited for: {early} kB after a quarter, {late} kB at the end",
        waited[0], waited[1]
    );
    if edits >= 1000 {
        assert!(late as f64 <= 1.2 * early as f64, "{early} kB, {late} kB");
    }
}

/// A page that is frozen: it asks for pictures, and takes nothing of what it is sent. Only where `FOGWEFT_THOROUGH` is set, since the
/// server gives it half a minute.
#[test]
fn a_page_that_takes_nothing_is_let_go() {
    if std::env::var_os("FOGWEFT_THOROUGH").is_none() {
        println!("skipped: it takes a minute; set FOGWEFT_THOROUGH");
        return;
    }
    let tune = Tune::start(SCENE);
    let (mut page, mut frozen) = (tune.socket(), tune.socket());
    let before = memory(&tune.child).unwrap_or(0);
    let start = Instant::now();
    let look = |camera: u64| json!({ "do": "view", "view": { "camera": camera % 24, "bare": false, "values": false, "compare": null }, "stamp": camera });
    let mut asked = 0;
    // Small pictures, but without end: what the system holds on their way is soon full.
    while (0..10).all(|_| {
        asked += 1;
        frozen.only_send(&look(asked)) && frozen.only_send(&json!({ "do": "shown" }))
    }) {
        assert!(start.elapsed() < Duration::from_secs(120), "still held after {asked} pictures asked for");
        // The other page doesn't suffer from it.
        if asked % 500 == 0 {
            let (asked, value) = (Instant::now(), json!(400 + asked % 300));
            page.act(set(None, "air.visibility", value)).unwrap();
            assert!(asked.elapsed() < Duration::from_secs(5), "{:?}", asked.elapsed());
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let held = start.elapsed();
    let after = memory(&tune.child).unwrap_or(0);
    println!("let go after {held:?} and {asked} pictures asked for: {before} kB before, {after} kB then");
    assert!(held > Duration::from_secs(29), "{held:?}");
    assert!(after < before + 32 * 1024, "{before} kB, {after} kB");
    // And the server still works.
    page.act(set(None, "air.visibility", json!(777))).unwrap();
}

/// Sends an edit that changes something and waits for its answer; its number.
fn sent(page: &mut Socket, message: Value) -> u64 {
    let stamp = page.send(message);
    loop {
        let value = page.next().expect("still there");
        assert!(value.get("refused").is_none(), "{value}");
        if value.get("done") == Some(&stamp.into()) {
            return stamp;
        }
    }
}
