//! The still comes before all else of a run, and a run that ends after it leaves nothing that the next one takes for somebody's.

use crate::util::Scene;
use fogweft::base::fault::Faults;
use fogweft::base::limits::Limits;
use fogweft::base::progress::{Progress, Stage};
use fogweft::scene::pictures::Pictures;
use fogweft::scene::read;
use fogweft::store::run::{self, Options};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

/// Looks at the folder when the files are about to be made; then stops the run if it is to.
struct Looks {
    out: PathBuf,
    stops: bool,
    looked: AtomicBool,
    stopped: AtomicBool,
}

impl Progress for Looks {
    fn enters(&self, stage: Stage, _: &str) {
        if stage == Stage::Files {
            assert!(self.out.join("still.png").is_file(), "the still is there");
            assert!(!self.out.join("mid.fog.png").exists(), "the sheets aren't");
            self.looked.store(true, Ordering::Relaxed);
            self.stopped.store(self.stops, Ordering::Relaxed);
        }
    }

    fn stopped(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }
}

fn render(scene: &Scene, stops: bool) -> Result<usize, String> {
    let (limits, out) = (Limits::default(), scene.path("scene-sheets"));
    let said = |faults: Faults| faults.to_string();
    let read = read::read_file(&scene.path("scene.toml"), &[], &limits).map_err(said)?;
    let pictures = Pictures::open(&read, &limits).map_err(said)?;
    let looks =
        Looks { out: out.clone(), stops, looked: AtomicBool::new(false), stopped: AtomicBool::new(false) };
    let made = run::render_with(&read, &pictures, &Options::new(out), &looks);
    assert!(looks.looked.load(Ordering::Relaxed));
    made.map(|reports| reports[0].made.len()).map_err(said)
}

#[test]
fn the_still_is_written_first() {
    let scene = Scene::new();
    assert_eq!(render(&scene, false).expect("made"), 8);
}

#[test]
fn what_ends_after_the_still_leaves_nothing_of_somebodys() {
    let scene = Scene::new();
    let said = render(&scene, true).expect_err("it was stopped");
    assert!(said.contains("no sheet, rim or picture was written"), "{said}");
    let still = scene.bytes("still.png");
    assert!(!scene.out("manifest.json").exists());
    // The next run, of other fog, renews it as its own.
    let said = scene.render(&["--set", "air.visibility=300"]).well();
    assert!(!said.out.contains("kept") && !said.err.contains("edited"), "{}{}", said.out, said.err);
    assert!(scene.bytes("still.png") != still);
}
