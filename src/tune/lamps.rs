//! Lamps of the tuning page: what it is told of them, and its edits of them.

use crate::base::fault::{Class, Fault, Result};
use crate::base::law;
use crate::scene::{Scene, keys};
use crate::tune::inherited;
use crate::tune::session::Session;
use crate::tune::write::{self, Location};
use serde_json::{Value as Json, json};

/// The lamps as the page draws them; `rate` is how far one moves for a px of the camera's.
pub(super) fn state(scene: &Scene) -> Vec<Json> {
    let lamp = |lamp: &crate::scene::Lamp| {
        let slot = scene.slots.iter().find(|slot| slot.name == lamp.slot);
        json!({
            "name": lamp.name,
            "slot": lamp.slot,
            "rate": slot.map(|slot| law::pan_rate(scene.camera, slot.depth)),
            "x": lamp.x,
            "y": lamp.y,
            "colour": lamp.colour.to_hex(),
            "strength": lamp.strength,
            "core": lamp.core,
        })
    };
    scene.lamps.iter().map(lamp).collect()
}

/// Sets values of the lamp at this place among them, all as one step, or as one with other edits of the `gesture`.
///
/// # Errors
/// Where a value can't stand or breaks the scene, or where a mood is to change a lamp without a name; nothing has changed then.
pub(super) fn set(
    session: &mut Session,
    at: usize,
    values: &[(String, String)],
    gesture: Option<String>,
) -> Result<()> {
    let lamps = &session.current().reading.scene.lamps;
    let upto = lamps.get(..=at).ok_or_else(|| Fault::new(Class::Usage, "there is no such lamp"))?;
    let names: Vec<Option<&str>> = upto.iter().map(|lamp| lamp.name.as_deref()).collect();
    let name = upto[at].name.clone();
    if session.mood().is_some() && name.is_none() {
        return Err(Fault::new(
            Class::Scene,
            format!("lamp {} has no name, so the mood can't change it", at + 1),
        )
        .in_file(session.file())
        .remedy("Give it a `name` in the scene file, or tune the scene without a mood.")
        .into());
    }
    let name = name.unwrap_or_default();
    let mut text = session.text().to_string();
    if session.mood().is_none() {
        text = inherited::lamps(session.file(), &text, &names)?;
    }
    for (path, value) in values {
        let key = keys::find(path)
            .filter(|key| key.section() == keys::Section::Lamp && key.name() != "name")
            .ok_or_else(|| Fault::new(Class::Usage, format!("there is no key {}", keys::shown(path))))?;
        let value =
            key.parse(value).map_err(|wrong| Fault::new(Class::Scene, wrong.message).remedy(wrong.remedy))?;
        let location =
            Location { mood: session.mood(), slot: None, lamp: Some((at, &name)), key: key.name() };
        text = write::set(session.file(), &text, &location, &value.to_string())?;
    }
    session.apply(text.into(), gesture)
}
