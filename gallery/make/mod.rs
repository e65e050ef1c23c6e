//! The gallery's pictures, by name.

pub mod canvas;
mod close;
mod flow;
mod hand;
mod scenes;
mod section;
pub mod shelf;
mod singles;
mod steps;
mod tall;

pub use canvas::Canvas;
pub use flow::Loop;
use fogweft::base::fault::Result;
use std::path::Path;

/// The three worlds and their moods.
pub const SCENES: [(&str, &[&str]); 3] = [
    ("salt-marsh", &["daybreak", "blue-hour"]),
    ("cloud-cableway", &["breaking", "storm"]),
    ("night-quay", &["before-dawn", "sea-fret"]),
];

type Draw = Box<dyn Fn(&Path) -> Result<Drawn>>;

/// A picture, drawn.
pub enum Drawn {
    /// That stands still.
    Still(Canvas),
    /// That moves.
    Moving(Loop),
}

impl Drawn {
    /// Its file.
    #[allow(dead_code, reason = "who compares them needs no file")]
    pub fn png(&self) -> Vec<u8> {
        match self {
            Drawn::Still(canvas) => canvas.png(),
            Drawn::Moving(moving) => moving.png(),
        }
    }

    /// Its frames; one where it stands still.
    #[allow(dead_code, reason = "who writes them needs no frames")]
    pub fn frames(&self) -> Vec<Canvas> {
        match self {
            Drawn::Still(canvas) => vec![canvas.clone()],
            Drawn::Moving(moving) => moving.frames(),
        }
    }
}

/// A picture of the gallery.
pub struct Picture {
    /// Its file's name, without the ending.
    pub name: String,
    /// Its file's ending.
    ending: &'static str,
    /// Whether it is drawn within a second or two.
    #[allow(dead_code, reason = "who draws them all needn't know")]
    pub quick: bool,
    draw: Draw,
}

impl Picture {
    fn new(
        name: impl Into<String>,
        quick: bool,
        draw: impl Fn(&Path) -> Result<Canvas> + 'static,
    ) -> Picture {
        let draw = Box::new(move |root: &Path| draw(root).map(Drawn::Still));
        Picture { name: name.into(), ending: "png", quick, draw }
    }

    fn moving(name: &str, draw: impl Fn(&Path) -> Result<Loop> + 'static) -> Picture {
        let draw = Box::new(move |root: &Path| draw(root).map(Drawn::Moving));
        Picture { name: name.into(), ending: "apng", quick: false, draw }
    }

    /// The name of its file.
    pub fn file(&self) -> String {
        format!("{}.{}", self.name, self.ending)
    }

    /// Draws it from the presets and scenes under `root`, the top of the repository.
    ///
    /// # Errors
    /// Those of reading and drawing the scene.
    pub fn draw(&self, root: &Path) -> Result<Drawn> {
        (self.draw)(root)
    }
}

/// All of them, in the order of `gallery/README.md`.
pub fn pictures() -> Vec<Picture> {
    let mut all = vec![Picture::new("wipe", false, scenes::wipe)];
    for (scene, moods) in SCENES {
        all.push(Picture::new(scene, false, move |root| scenes::still(root, scene, None, scenes::Show::All)));
        // The wipe shows the marsh bare.
        if scene != SCENES[0].0 {
            all.push(Picture::new(format!("{scene}-bare"), false, move |root| {
                scenes::still(root, scene, None, scenes::Show::Bare)
            }));
        }
        all.push(Picture::new(format!("{scene}-alone"), false, move |root| scenes::alone(root, scene)));
        all.push(Picture::new(format!("{scene}-values"), false, move |root| scenes::values(root, scene)));
        all.push(Picture::new(format!("{scene}-section"), true, move |root| section::draw(root, scene)));
        for mood in moods {
            all.push(Picture::new(format!("{scene}-{mood}"), false, move |root| {
                scenes::still(root, scene, Some(mood), scenes::Show::All)
            }));
        }
    }
    // Of one world only: a sheet of all recipes takes a megabyte.
    let (marsh, _) = SCENES[0];
    all.push(Picture::new(format!("{marsh}-recipes"), false, move |root| shelf::over(root, marsh)));
    all.push(Picture::moving("flow", flow::marsh));
    all.push(Picture::new("singles", true, singles::draw));
    all.push(Picture::new("lamps", false, scenes::lamps));
    all.push(Picture::new("strokes", false, hand::strokes));
    all.push(Picture::new("strip", false, hand::strip));
    all.push(Picture::new("tall", false, tall::draw));
    all.push(Picture::new("fade", false, scenes::fade));
    all.push(Picture::new("rims-without", false, |root| scenes::evening(root, false)));
    all.push(Picture::new("rims-with", false, |root| scenes::evening(root, true)));
    all.push(Picture::new("rims-values", false, scenes::evening_values));
    all.push(Picture::new("steps", true, steps::draw));
    all.push(Picture::new("banding", true, close::banding));
    all
}
