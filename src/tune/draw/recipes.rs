//! Presets as small pictures of the scene under each.

use crate::base::limits::Limits;
use crate::stack::Stack;
use crate::stack::compositor::{Compositor, Draft as Pixels};
use crate::stack::still::Still;
use crate::store::cache::Store;
use crate::store::maker::{Maker, Request};
use crate::tune::draw::layers::plan;
use crate::tune::hub::{Hub, Tab, locked};
use crate::tune::session::Version;
use data_encoding::BASE64;
use serde_json::json;
use std::sync::Arc;

/// Width of a small picture, texels; chosen by eye.
const WIDTH: f64 = 208.0;

/// Draws what tabs wait for, until somebody edits.
pub(super) fn draw(hub: &Hub, limits: &Limits, tabs: &[Arc<Tab>]) {
    let revision = hub.revision();
    // Small pictures of one scene share what isn't the preset's.
    let store = Store::in_memory(0);
    for tab in tabs {
        while hub.revision() == revision && !hub.is_stopped() {
            let Some((slot, name)) = next(tab) else { break };
            let version = hub.session().with_preset(slot.as_deref(), &name);
            let Some((size, texels)) = version.and_then(|version| picture(&store, &version, tab, limits))
            else {
                continue;
            };
            let rgb: Vec<u8> =
                texels.as_chunks::<4>().0.iter().flat_map(|[r, g, b, _]| [*r, *g, *b]).collect();
            let message =
                json!({ "recipe": { "slot": slot, "name": name, "size": size, "rgb": BASE64.encode(&rgb) } });
            tab.tell(message.to_string());
        }
    }
}

fn next(tab: &Tab) -> Option<(Option<String>, String)> {
    let mut waiting = locked(&tab.recipes);
    let (slot, names) = waiting.as_mut()?;
    if names.is_empty() {
        *waiting = None;
        return None;
    }
    Some((slot.clone(), names.remove(0)))
}

/// The scene from where the tab looks, without rims.
fn picture(store: &Store, version: &Version, tab: &Tab, limits: &Limits) -> Option<([u32; 2], Vec<u8>)> {
    let scale = (WIDTH / version.reading.scene.view[0].0).min(1.0);
    let plan = plan(version, &version.pictures, scale, limits).ok()?;
    let mut stack = Stack::empty(&plan);
    let request = Request::without_rims(&plan, &version.pictures);
    Maker::new(store, limits).fill(&mut stack, &request).ok()?;
    let layers = plan.files.iter().zip(&stack.made);
    let sources = layers.filter_map(|(job, made)| Some((job.placing(), made.as_ref()?.source())));
    let compositor = Compositor::new(&plan, sources, tab.look().view.camera.within(plan.travel));
    let still = Still::new::<Pixels>(&compositor);
    Some((still.size, still.eight()))
}
