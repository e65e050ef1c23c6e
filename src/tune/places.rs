//! Places of the tuning page: what it is told of the pictures that stand on a slot's plane, and its edits of them.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::{ArtPlace, Slot, keys};
use crate::tune::blocks;
use crate::tune::session::Session;
use crate::tune::write::{self, Location};
use serde_json::{Value as Json, json};

/// The places of a slot besides its own, each with its number, from 1 on.
pub(super) fn state(slot: &Slot) -> Vec<Json> {
    let place = |place: &ArtPlace| {
        let file = place.file.file_name().unwrap_or_default().to_string_lossy();
        json!({
            "number": place.number,
            "art": place.layer.as_ref().map_or_else(|| file.to_string(), |layer| format!("{file}#{layer}")),
            "x": place.x,
            "y": place.y,
            "width": place.width,
            "flip": place.flip,
        })
    };
    slot.pictures().filter(|place| place.number > 0).map(place).collect()
}

/// Sets a value of the place of this number in a slot; none takes it out, so that what it has without it holds. All edits of one `gesture`
/// are one step. Places are the scene's own, whatever the mood.
///
/// # Errors
/// Where the value can't stand or breaks the scene, and in a mood that lists the places of the slot anew; nothing has changed then.
pub(super) fn set(
    session: &mut Session,
    (slot, number): (&str, usize),
    (path, value): (&str, Option<&str>),
    gesture: Option<String>,
) -> Result<()> {
    in_scene(session, slot)?;
    let key = keys::find(path)
        .filter(|key| key.section() == keys::Section::Place)
        .ok_or_else(|| Fault::new(Class::Usage, format!("there is no key {}", keys::shown(path))))?;
    let at = number.checked_sub(1).ok_or_else(|| Fault::new(Class::Usage, "places are counted from 1 on"))?;
    let own = format!("place.{at}.{}", key.name());
    let location = Location { mood: None, slot: Some(slot), lamp: None, key: &own };
    let text = match value {
        None => write::unset(session.file(), session.text(), &location)?,
        Some(value) => {
            let parsed = key.parse(value);
            let value =
                parsed.map_err(|wrong| Fault::new(Class::Scene, wrong.message).remedy(wrong.remedy))?;
            write::set(session.file(), session.text(), &location, &value.to_string())?
        }
    };
    session.apply(text.into(), gesture)
}

/// Adds a place to a slot, after all others.
///
/// # Errors
/// As for [`set`].
pub(super) fn add(session: &mut Session, slot: &str, x: f64) -> Result<()> {
    in_scene(session, slot)?;
    let text = blocks::add_place(session.file(), session.text(), slot, x)?;
    session.apply(text.into(), None)
}

/// Removes the place of this number.
///
/// # Errors
/// As for [`set`].
pub(super) fn remove(session: &mut Session, slot: &str, number: usize) -> Result<()> {
    in_scene(session, slot)?;
    let text = blocks::remove_place(session.file(), session.text(), slot, number)?;
    session.apply(text.into(), None)
}

fn in_scene(session: &Session, slot: &str) -> Result<()> {
    let listed = &session.current().reading.places_of_mood;
    let Some(mood) = session.mood().filter(|_| listed.contains(slot)) else { return Ok(()) };
    Err(Fault::new(
        Class::Scene,
        format!("the mood {} lists the places of the slot itself", keys::shown(mood)),
    )
    .in_file(session.file())
    .remedy("Change them in the file, or tune the scene without a mood.")
    .into())
}
