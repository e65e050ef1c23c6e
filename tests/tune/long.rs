//! An hour at the page doesn't make its server grow.

use crate::client::{Picture, SCENE, Socket, Tune, memory, set};
use serde_json::{Value, json};

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
