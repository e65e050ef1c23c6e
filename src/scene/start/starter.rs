//! Starter scenes: pictures of our own in six slots or so, under any recipe, for a painter to replace one by one.

use crate::base::fault::Result;
use crate::base::files;
use crate::base::limits::Limits;
use crate::base::words::Anchor;
use crate::scene::recipe::shelf::Shelf;
use crate::scene::schema;
use crate::scene::start::{File, SCENE, embedded, in_the_way, with_schema};
use std::path::{Path, absolute};

/// What a starter scene shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A lane at dawn, for fog on the ground.
    Ground,
    /// A mountain pass, for cloud overhead.
    Sky,
    /// A harbour town with lamps.
    Night,
}

const GROUND: &[File] = embedded!("start/ground":
    "scene.toml", "sky.svg", "ridge.svg", "village.svg", "oaks.svg", "wall.svg", "meadow.svg", "weeds.svg", "strokes.svg",
);

const SKY: &[File] = embedded!("start/sky":
    "scene.toml", "sky.svg", "peaks.svg", "crag.svg", "viaduct.svg", "larches.svg", "ledge.svg", "rocks.svg", "strokes.svg",
);

const NIGHT: &[File] = embedded!("start/night":
    "scene.toml", "sky.svg", "castle.svg", "town.svg", "bridge.svg", "boats.svg", "quay.svg", "rail.svg", "strokes.svg",
);

/// What stands in a starter scene's text where the preset's name belongs, and where the scene's own does.
const MARKS: [&str; 2] = ["{preset}", "{name}"];

/// The scene's name where its folder has none.
const NAMELESS: &str = "scene";

impl Kind {
    /// The preset where none is asked for.
    pub fn preset(self) -> &'static str {
        match self {
            Kind::Ground | Kind::Night => "radiation-fog",
            Kind::Sky => "stratocumulus",
        }
    }

    fn files(self) -> &'static [File] {
        match self {
            Kind::Ground => GROUND,
            Kind::Sky => SKY,
            Kind::Night => NIGHT,
        }
    }
}

/// Writes a starter scene into `folder`, named after it: of the `kind` asked for, else of that which suits the preset; with the recipe
/// of `preset`, else the kind's own.
///
/// # Errors
/// Class `Usage`: the preset is unknown. Class `Output`: one of the files stands there already. Nothing is written then.
pub fn write(folder: &Path, kind: Option<Kind>, preset: Option<&str>) -> Result<()> {
    let shelf = Shelf::of_scene(Some(&folder.join(SCENE)), &Limits::default());
    let preset = preset.unwrap_or(kind.unwrap_or(Kind::Ground).preset());
    let kind = kind.unwrap_or(match shelf.get(preset)?.anchor {
        Anchor::Ground => Kind::Ground,
        Anchor::Sky => Kind::Sky,
    });
    shelf.get(preset)?;
    for name in kind.files().iter().map(|(name, _)| *name).chain([schema::FILE]) {
        if folder.join(name).symlink_metadata().is_ok() {
            return Err(in_the_way(&folder.join(name)).into());
        }
    }
    files::prepare_folder(folder)?;
    for (name, content) in kind.files() {
        if *name == SCENE {
            let text = named(&String::from_utf8_lossy(content), folder, preset);
            files::put_new(folder.join(name), &with_schema(&text))?;
        } else {
            files::put_new(folder.join(name), content)?;
        }
    }
    files::put_new(
        folder.join(schema::FILE),
        schema::text(schema::Of::scenes_in(folder, &Limits::default())).as_bytes(),
    )
}

/// The scene's text with its names in their places.
fn named(text: &str, folder: &Path, preset: &str) -> String {
    let folder = absolute(folder).ok();
    let name =
        folder.as_deref().and_then(Path::file_name).map_or(NAMELESS.into(), |name| name.to_string_lossy());
    let quoted = |text: &str| toml_edit::Value::from(text).to_string();
    let [of_preset, of_scene] = MARKS;
    text.replace(&format!("\"{of_preset}\""), &quoted(preset))
        .replace(of_preset, preset)
        .replace(&format!("\"{of_scene}\""), &quoted(&name))
}
