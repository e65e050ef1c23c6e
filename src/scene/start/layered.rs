//! A scene to start from, made of a painting: its layers become slots.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files;
use crate::base::limits::Limits;
use crate::base::words::Blending;
use crate::scene::keys::{self, Value, key};
use crate::scene::layered::BACKDROP;
use crate::scene::recipe::shelf::Shelf;
use crate::scene::start::frame::Frame;
use crate::scene::start::painting::{Painted, Painting, Picture};
use crate::scene::start::sheets::{Sheets, sheet_of};
use crate::scene::start::slots::{Slot, depths, fitting, take_repeats};
use crate::scene::start::standing::Standing;
use crate::scene::start::{SCENE, quoted};
use crate::scene::{read, schema};
use std::collections::BTreeSet;
use std::path::Path;

/// How a painting is taken over.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Name of the preset.
    pub preset: String,
    /// Width and height of the game's frame, px; none: a canvas wider than 16:9 has a frame of 16:9 at its own height.
    pub view: Option<[u32; 2]>,
    /// Whether the painting is copied beside the scene, rather than used where it stands.
    pub copy: bool,
    /// Whether each layer of a group becomes a slot of its own.
    pub ungroup: bool,
}

/// Writes a scene into `folder` whose slots are the layers of `file`, a layered file or a folder of exported layers. Returns what
/// there is to say of it: what of the painting isn't taken over or not as it was, and what was chosen.
///
/// # Errors
/// Class `Usage`: no such preset, a frame larger than the canvas, or a painting that the scene may not point at. Class `Picture`: the
/// painting can't be used. Class `Output`: something stands in the way. Nothing is written then.
pub fn write_scene(folder: &Path, file: &Path, options: &Options, limits: &Limits) -> Result<Vec<String>> {
    Shelf::of_scene(Some(&folder.join(SCENE)), limits).get(&options.preset)?;
    let painting = Painting::open(file, options.ungroup, limits)?;
    let standing = Standing::of(folder, &painting, options.copy)?;
    for path in [folder.join(SCENE), folder.join(schema::FILE)] {
        if path.symlink_metadata().is_ok() {
            return Err(super::in_the_way(&path).into());
        }
    }
    standing.check(folder, &painting)?;
    let mut import = Import::new(&painting, options, limits)?;
    // Whatever the layers are called, what is written must be readable.
    let beside = import.scene(&standing.name)?;
    read::read_text(&folder.join(SCENE), &beside, &[], limits, false)?;
    let text = import.scene(&standing.path)?;
    files::prepare_folder(folder)?;
    import.notes.extend(standing.prepare(folder, &painting)?);
    files::put_new(folder.join(SCENE), text.as_bytes())?;
    files::put_new(
        folder.join(schema::FILE),
        schema::text(schema::Of::scenes_in(folder, limits)).as_bytes(),
    )?;
    import.notes.dedup();
    Ok(import.notes)
}

/// A painting on its way to a scene.
struct Import<'a> {
    painting: &'a Painting,
    options: &'a Options,
    limits: &'a Limits,
    frame: Frame,
    backdrop: Option<[u8; 3]>,
    slots: Vec<Slot<'a>>,
    travel: f64,
    notes: Vec<String>,
}

/// Refuses more layers than a scene may have slots, before each is looked at.
fn within(painting: &Painting, limits: &Limits) -> Result<()> {
    let count = painting.layers.len();
    if count <= limits.slots {
        return Ok(());
    }
    let message = format!("the painting has {count} layers; a scene may have {} slots", limits.slots);
    let remedy = format!("Merge layers, or raise the limit: --limit slots={count}.");
    Err(Fault::new(Class::Limit, message).in_file(&painting.file).remedy(remedy).into())
}

impl<'a> Import<'a> {
    fn new(painting: &'a Painting, options: &'a Options, limits: &'a Limits) -> Result<Import<'a>> {
        within(painting, limits)?;
        let frame = Frame::of(painting.size, options.view).map_err(|fault| fault.in_file(&painting.file))?;
        let mut import = Import {
            painting,
            options,
            limits,
            backdrop: None,
            slots: Vec::new(),
            travel: 0.0,
            notes: painting.notes.clone(),
            frame,
        };
        import.notes.extend(import.frame.note(painting.size));
        import.backdrop = match painting.layers.last() {
            Some(last) if last.name == BACKDROP && last.depth.is_none() => import.plain_colour(last)?,
            _ => None,
        };
        import.slots = import.slots()?;
        if import.slots.is_empty() {
            return Err(painting.empty().into());
        }
        let depths = depths(&import.slots, import.frame.camera(), &mut import.notes);
        for (slot, depth) in import.slots.iter_mut().zip(depths) {
            slot.depth = Some(depth);
        }
        import.travel = import.travel()?;
        import.tell_short_ones()?;
        Ok(import)
    }

    /// The scene's text, with the painting at the path `at`.
    fn scene(&self, at: &str) -> Result<String> {
        let mut text = self.head(at);
        for slot in &self.slots {
            text += &self.slot(slot, at)?;
        }
        Ok(text)
    }

    /// All that stands before the slots.
    fn head(&self, at: &str) -> String {
        let [width, height] = self.frame.view;
        let stem = self.painting.file.file_stem().unwrap_or_default().to_string_lossy();
        let backdrop = self
            .backdrop
            .map_or(String::new(), |[r, g, b]| format!("backdrop = \"#{r:02x}{g:02x}{b:02x}\"\n"));
        let travel = match self.frame.down {
            down if down > 0.0 => Value::Pair([self.travel, down]).to_string(),
            _ => self.travel.to_string(),
        };
        // At the foot of a tall canvas, where the camera comes down to it.
        let view = Value::Pair([f64::from(width), f64::from(height)]);
        let usual = keys::find(key!("ground"))
            .and_then(|key| key.of_view(Some(&view), Some(&Value::Pair([self.travel, self.frame.down]))));
        let ground = match usual.and_then(|ground| ground.number()) {
            Some(ground) if self.frame.down > 0.0 => format!(
                "ground = {:<17}# height of the ground line on the play plane, from the top of the canvas down\n",
                ground.round()
            ),
            _ => String::new(),
        };
        format!(
            "{}\n\n# A scene made from {}: its layers are the slots. Paint in it, save it, and render again.\n#\n\
             # Positions and visibility come from the layers, unless a slot sets x, y or visible.\n\n\
             name = {}\nview = [{width}, {height}]\n\
             travel = {:<17}# how far the camera pans on the play plane, px: until the painting ends\n\
             camera = {:<17}# the eye's distance from the play plane, in depth units\n\
             {}preset = {}\n{backdrop}\n[air]\n\
             visibility = 2400          # the distance at which 5 % of contrast remains, in depth units\n",
            schema::LINE,
            if at.is_empty() { "the pictures beside it" } else { at },
            quoted(&stem),
            travel,
            self.frame.camera(),
            ground,
            quoted(&self.options.preset)
        )
    }

    fn slot(&self, slot: &Slot<'_>, at: &str) -> Result<String> {
        let depth = slot.depth.unwrap_or(0.0);
        let mut text = format!("\n[[slot]]\nname = {}\ndepth = {depth}\n", quoted(&slot.name));
        if let Some(layer) = slot.layer {
            text += &format!("art = {}\n", quoted(&layer.picture.reference(at)));
            let [x, y] = layer.at;
            // A layer's place is in its file.
            if let Picture::File(_) = layer.picture {
                text += &format!("x = {x}\ny = {y}\n");
            }
            if let Some(distance) = slot.again {
                let edge_to_edge = (distance - self.width_of(layer)?).abs() < 1e-6;
                text +=
                    &if edge_to_edge { "repeat = true\n".into() } else { format!("repeat = {distance:?}\n") };
            }
        }
        text += &self.sheet(slot, at)?;
        if !slot.fog {
            text += "fog = false\n";
        }
        if slot.layer.is_some() && !slot.rim {
            text += "separation = 0\n";
        }
        Ok(text)
    }

    /// What a slot shows instead of a sheet that is made, or what is drawn into it.
    fn sheet(&self, slot: &Slot<'_>, at: &str) -> Result<String> {
        let named = |key: &str, layer: &Painted| {
            let mut text = format!("{key} = {}\n", quoted(&layer.picture.reference(at)));
            if let Picture::File(_) = layer.picture {
                let [x, y] = layer.at;
                text += &format!("{key}_x = {x}\n{key}_y = {y}\n");
            }
            text
        };
        Ok(match (slot.sheet, slot.strokes) {
            (Some(layer), _) => {
                // A sheet is one period wide.
                let period = slot.sheet_again.map_or_else(|| self.width_of(layer), Ok)?;
                format!("{}period = {period}\n", named("sheet", layer))
            }
            (None, Some(layer)) => named("strokes", layer),
            (None, None) => String::new(),
        })
    }

    /// The slots, far to near.
    fn slots(&mut self) -> Result<Vec<Slot<'a>>> {
        let skipped = usize::from(self.backdrop.is_some());
        let mut layers: Vec<&Painted> = self.painting.layers.iter().rev().skip(skipped).collect();
        let again = take_repeats(&mut layers);
        let mut sheets = Sheets::of(self.painting, &layers, self.limits)?;
        let pictures: BTreeSet<&str> =
            layers.iter().filter(|layer| !sheets.holds(layer)).map(|layer| layer.name.as_str()).collect();
        // Without any of either, nothing was made of it yet.
        let plain = sheets.fogs.is_empty() && sheets.rims.is_empty();
        let mut taken = BTreeSet::new();
        let mut slots = Vec::new();
        for layer in &layers {
            let (name, art) = match sheet_of(&layer.name) {
                Some(slot) if pictures.contains(slot) || !layer.name.ends_with(".fog") => continue,
                Some(slot) => (slot, false),
                None if sheets.holds(layer) => continue,
                None => (layer.name.as_str(), true),
            };
            let fit = fitting(name, &mut taken);
            if fit != name {
                self.notes.push(format!("{name}: its slot is named {fit}"));
            }
            slots.push(Slot {
                name: fit,
                depth: layer.depth,
                layer: art.then_some(*layer),
                again: again.get(name).copied(),
                fog: plain || sheets.fogs.contains(name),
                sheet: sheets.kept.get(name).copied(),
                sheet_again: again.get(&format!("{name}.fog")).copied(),
                strokes: sheets.strokes_of(name),
                rim: plain || sheets.rims.contains(name),
            });
        }
        self.notes.append(&mut sheets.notes);
        Ok(slots)
    }

    /// How far the camera can pan: over the rest of the canvas, or until the last layer ends that is wider than the frame.
    fn travel(&self) -> Result<f64> {
        if let Some(rest) = self.frame.rest {
            return Ok(rest);
        }
        let width = f64::from(self.frame.view[0]);
        let mut most = 0.0_f64;
        for slot in &self.slots {
            // What repeats never ends.
            let Some(layer) = slot.layer.filter(|_| slot.again.is_none()) else { continue };
            let rate = self.rate(slot);
            most = most.max((layer.at[0] as f64 + self.width_of(layer)? - width) / rate);
        }
        if most == 0.0 && self.slots.iter().any(|slot| slot.again.is_some()) {
            most = 2.0 * width;
        }
        Ok(most.floor().min(1e7))
    }

    /// Says which layers of a whole canvas end before the travel does: those that pan faster than the play plane.
    fn tell_short_ones(&mut self) -> Result<()> {
        let Some(rest) = self.frame.rest else { return Ok(()) };
        let mut notes = Vec::new();
        for slot in &self.slots {
            let Some(layer) = slot.layer.filter(|_| slot.again.is_none()) else { continue };
            let ends = layer.at[0] as f64 + self.width_of(layer)?;
            let needed = f64::from(self.frame.view[0]) + rest * self.rate(slot);
            // One that ends before the canvas does is meant to.
            if ends >= f64::from(self.painting.size[0]) && ends < needed - 0.5 {
                notes.push(format!(
                    "{}: it is nearer than the play plane and ends {:.0} px short at the end of the travel; paint it farther, let it \
                     repeat, or shorten `travel`",
                    slot.name,
                    (needed - ends).ceil()
                ));
            }
        }
        self.notes.append(&mut notes);
        Ok(())
    }

    /// A slot's pan rate.
    fn rate(&self, slot: &Slot<'_>) -> f64 {
        let camera = self.frame.camera();
        camera / (camera + slot.depth.unwrap_or(0.0))
    }

    /// Width of a layer's picture, px.
    fn width_of(&self, layer: &Painted) -> Result<f64> {
        self.painting.width_of(layer, self.limits)
    }

    /// The colour of a layer that has only one, opaque.
    fn plain_colour(&self, layer: &Painted) -> Result<Option<[u8; 3]>> {
        let source = self.painting.source(layer, self.limits)?;
        let size = source.natural.map(|side| side as u32);
        let picture = source.draw(size, false, false, Blending::Encoded, self.limits)?;
        let Some(first) = picture.texels.first() else { return Ok(None) };
        let plain = first[3] == u16::MAX && picture.texels.iter().all(|texel| texel == first);
        Ok(plain.then(|| [first[0], first[1], first[2]].map(|code| (code >> 8) as u8)))
    }
}

/// The fault of a canvas that can't hold the frame.
pub(super) fn too_small(view: [u32; 2], size: [u32; 2]) -> Fault {
    let ([width, height], [w, h]) = (view, size);
    Fault::new(
        Class::Usage,
        format!("a view of {width} x {height} px is larger than the canvas of {w} x {h} px"),
    )
    .remedy("Give --view at most as wide and as high as the canvas.")
}
