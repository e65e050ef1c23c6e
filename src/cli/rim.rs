//! `fogweft rim`: the rim of one silhouette, without a scene.

use super::{args, bits, say};
use fogweft::base::colour::Srgb;
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::mark::Form;
use fogweft::base::units::Px;
use fogweft::output::Effort;
use fogweft::output::pictures::rim_png;
use fogweft::plan::{Job, Plan};
use fogweft::rim::Rim;
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::scene::start::quoted;
use fogweft::scene::{ArtPlace, Repeat, read};
use fogweft::stack::Stack;
use std::path::{Path, PathBuf};

/// Name of the slot that holds the silhouette.
const ART: &str = "art";

/// Room around the art, in spreads: as much as the widest rim takes.
const ROOM: f64 = 40.0;

/// A scene of two slots: the art, and what is behind it. No air lies between them, so nothing but the rim is made.
pub fn run(args: &args::Rim) -> Result<()> {
    let limits = super::limits();
    let behind = Srgb::parse_hex(&args.behind).is_none().then(|| PathBuf::from(&args.behind));
    let inputs =
        [args.art.clone()].into_iter().chain(behind).chain(super::preset_file(&args.preset, &limits));
    let door = Door { replace: args.replace, inputs: inputs.collect() };
    door.look(&args.out)?;
    let source = Source::open(&args.art, &limits)?;
    let frame = Frame::new(args, &source);
    let mut scene = read::read_text(Path::new("rim"), &frame.scene(args), &args.sets, &limits, true)?;
    let mut pictures = Pictures::default();
    for slot in &mut scene.slots {
        if slot.name == ART {
            slot.art = Some(frame.place(args.art.clone()));
            pictures.add(ART, source.clone());
        } else if Srgb::parse_hex(&args.behind).is_none() {
            let file = PathBuf::from(&args.behind);
            if !file.exists() && args.behind.starts_with('#') {
                return Err(Fault::new(Class::Usage, format!("--behind {} is not a colour", args.behind))
                    .remedy("Write it as #rrggbb, or give the path of a picture.")
                    .into());
            }
            pictures.add(&slot.name, Source::open(&file, &limits)?);
            slot.art = Some(frame.place(file));
        }
    }
    let plan = Plan::new(&scene, &pictures.naturals(), 1.0, &limits)?;
    let stack = Stack::new(&plan, &pictures, &limits)?;
    let Some(rim) = stack.rims().find(|rim| rim.placing.slot == ART) else {
        return Err(Fault::new(Class::Usage, "a separation of 0 needs no rim")
            .remedy("Give a --separation above 0.")
            .into());
    };
    debug_assert!(plan.files.iter().any(|job| matches!(job, Job::Rim(_))));
    if nothing_to_do(args, rim)? {
        return Ok(());
    }
    door.write(&args.out, Form::Png, &rim_png(rim, bits(&args.bits), Effort::default()))?;
    tell(args, rim, frame.room);
    Ok(())
}

/// The art's frame in the view, scene px.
struct Frame {
    /// Around the art, on each side.
    room: f64,
    width: f64,
    height: f64,
}

impl Frame {
    fn new(args: &args::Rim, source: &Source) -> Frame {
        let [width, height] = source.natural.map(|side| side.round().max(1.0));
        Frame { room: (ROOM * args.spread).ceil(), width, height }
    }

    /// The text of the scene.
    fn scene(&self, args: &args::Rim) -> String {
        let Frame { room, width, height } = self;
        let mut text = format!(
            "view = [{:?}, {:?}]\ncamera = 1e6\nhorizon = 0\nground = {:?}\nseed = {}\npreset = {}\n",
            width + 2.0 * room,
            height + 2.0 * room,
            room + height,
            args.seed,
            quoted(&args.preset),
        );
        if let Some(colour) = Srgb::parse_hex(&args.behind) {
            text += &format!("backdrop = {}\n", quoted(&colour.to_hex()));
        }
        text += &format!(
            "[air]\nhaze = {}\nlight = {:?}\nbeyond = 0\nblending = {}\n[rim]\nseparation = {:?}\nspread = {:?}\nmost = {:?}\n\
             darken = {}\n[[slot]]\nname = \"behind\"\ndepth = 1\nfog = false\nseparation = 0\n[[slot]]\nname = \"{ART}\"\ndepth = 0\n\
             fog = false\n",
            quoted(&args.haze),
            args.light,
            quoted(&args.blending),
            args.separation,
            args.spread,
            args.most,
            args.darken,
        );
        text
    }

    /// A picture in this frame.
    fn place(&self, file: PathBuf) -> ArtPlace {
        ArtPlace {
            file,
            layer: None,
            x: Px(self.room),
            y: Some(Px(self.room)),
            width: Some(Px(self.width)),
            repeat: Repeat::No,
            flip: false,
            number: 0,
        }
    }
}

/// Whether the outline needs no rim, which is said.
///
/// # Errors
/// Class `Picture`: there is no outline. Class `Usage`: no rim of this haze helps anywhere.
fn nothing_to_do(args: &args::Rim, rim: &Rim) -> Result<bool> {
    let found = &rim.outcome;
    if found.places == 0 {
        return Err(Fault::new(
            Class::Picture,
            "the picture has no outline: all of it is transparent, or nothing is",
        )
        .in_file(&args.art)
        .remedy("Give a picture whose silhouette stands on transparency.")
        .into());
    }
    if found.lacking == 0 {
        say(&format!(
            "No rim is needed, so {} wasn't written: all of the outline has a separation of {} L* already.\n",
            args.out.display(),
            args.separation
        ));
        return Ok(true);
    }
    let is_empty = rim.placing.texels == [1, 1];
    if is_empty && found.attainable > 0 {
        say(&format!(
            "No rim is worth it, so {} wasn't written: {:.1} % of the outline is below a separation of {} L*, and a rim would serve no more places than it costs, or those are specks.\n",
            args.out.display(),
            percent(found.lacking, found.places),
            args.separation
        ));
        return Ok(true);
    }
    if found.attainable == 0 {
        let message = format!(
            "no rim of this haze helps: {:.1} % of the outline is below a separation of {} L*, and none of that is attainable",
            percent(found.lacking, found.places),
            args.separation
        );
        let remedy = "The haze is too close to the picture's own lightness: try --darken, another --haze, a larger --most, or a smaller --separation.";
        return Err(Fault::new(Class::Usage, message).in_file(&args.art).remedy(remedy).into());
    }
    Ok(false)
}

/// A share as a percentage.
fn percent(part: usize, total: usize) -> f64 {
    100.0 * part as f64 / total.max(1) as f64
}

/// Says where the rim lies and how it came out.
fn tell(args: &args::Rim, rim: &Rim, room: f64) {
    let found = &rim.outcome;
    say(&format!(
        "{}: {} x {} texels, top-left corner at {}, {} relative to the picture's\n",
        args.out.display(),
        rim.placing.texels[0],
        rim.placing.texels[1],
        rim.placing.rect.x.0 - room,
        rim.placing.rect.y.0 - room,
    ));
    say(&format!(
        "{:.1} % of the outline was below a separation of {} L*; {:.1} % of that is attainable, and {:.1} % of those places reach it\n",
        percent(found.lacking, found.places),
        args.separation,
        percent(found.attainable, found.lacking),
        percent(found.reached, found.attainable),
    ));
    if found.attainable < found.lacking {
        say(
            "Elsewhere the haze is too close to the picture's own lightness: try --darken, another --haze, or a smaller --separation.\n",
        );
    }
}
