//! Drafts against stills.

use crate::base::units::Camera;
use crate::tune::draw::*;
use crate::tune::session::Session;
use std::fs;
use std::path::Path;

/// The demo scene without rims, in one blending or the other.
fn marsh(blending: &str) -> (tempfile::TempDir, Session) {
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/salt-marsh");
    for entry in fs::read_dir(from).unwrap().flatten() {
        fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let scene = folder.path().join("scene.toml");
    let text = fs::read_to_string(&scene).unwrap();
    let other = text.replace("blending = \"encoded\"", &format!("blending = \"{blending}\""));
    assert!(blending == "encoded" || other != text);
    fs::write(&scene, other).unwrap();
    let mut session = Session::open(&scene, None, Limits::default()).unwrap();
    session.set(None, "rim.separation", "0", None).unwrap();
    (folder, session)
}

#[test]
fn a_draft_is_the_still_but_for_a_few_codes() {
    let limits = Limits::default();
    for blending in ["encoded", "linear"] {
        let (_folder, session) = marsh(blending);
        let version = Arc::clone(session.current());
        let draft = Draft::new(&mut Kitchen::new(SPARE), &version, &limits).unwrap();
        let plan = plan(&version, draft_scale(&version), &limits).unwrap();
        let layers = Kitchen::new(0).make(&plan, &version.arts, &limits, &|| false).unwrap().unwrap();
        let stack = Stack::of(&plan, layers.made, Survey::nothing());
        let mut easel = Easel::default();
        for camera in [0.0, 333.0, 960.5, 1920.0].map(|x| Camera(Px(x))) {
            let view = View { camera, ..View::default() };
            let board = draft.board(&mut easel, &view, &[]);
            let size = board.size;
            let (drawn, exact) = (board.still(), stack.still(camera.within(plan.travel)));
            assert_eq!(size, exact.size);
            let off = |at: usize| -> f32 {
                let pair = drawn.colours[at].iter().zip(&exact.colours[at]);
                pair.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max)
            };
            let mut all: Vec<f32> = (0..drawn.colours.len()).map(off).collect();
            all.sort_unstable_by(f32::total_cmp);
            let (mean, most) = (all.iter().sum::<f32>() / all.len() as f32, all[all.len() * 999 / 1000]);
            println!("{blending} at {camera}: {mean} codes off in the mean, {most} but for a thousandth");
            assert!(mean < 1.0 && most < 18.0, "{blending} at {camera}: {mean}, {most}");
        }
    }
}

#[test]
fn what_an_easel_keeps_changes_no_draft() {
    let limits = Limits::default();
    let (_folder, mut session) = marsh("encoded");
    let (mut kitchen, mut easel) = (Kitchen::new(SPARE), Easel::default());
    for (turn, visibility) in [(0, "900"), (1, "900"), (2, "500"), (3, "500"), (4, "500"), (5, "900")] {
        session.set(None, "air.visibility", visibility, None).unwrap();
        let draft = Draft::new(&mut kitchen, session.current(), &limits).unwrap();
        for camera in [100.0 * f64::from(turn), 700.0, 1919.0 - f64::from(turn)].map(|x| Camera(Px(x))) {
            let view = View { camera, ..View::default() };
            let kept = draft.board(&mut easel, &view, &[]).lean();
            let fresh = draft.board(&mut Easel::default(), &view, &[]).lean();
            // Of a row that is only just to be seen more may be here, or less.
            let off = kept.iter().zip(&fresh).map(|(a, b)| a.abs_diff(*b)).max().unwrap();
            assert!(off <= 1, "turn {turn}, camera {camera}: {off}");
        }
    }
}
