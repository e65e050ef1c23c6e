//! Frames that are smaller than the view: what they show otherwise, by the geometry of pan rates alone.

use crate::util::{flat_png, plan, scene};
use fogweft::base::limits::Limits;
use fogweft::base::units::{Px, Travel};
use fogweft::review::check::{self, Report};
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::scene::{Scene, read};
use std::path::Path;

/// A view of 240 x 136 and a travel of 300; slots at pan rates 1/2, 1 and 5/4.
const TEXT: &str = "view = [240, 136]\ntravel = 300\ncamera = 300\nhorizon = 70\nground = 112\nseed = 3\n\
    [air]\nhaze = \"#c8ccd0\"\nvisibility = 900\n[rim]\nseparation = 0\n\
    [[slot]]\nname = \"far\"\ndepth = 300\nart = \"a.png\"\nx = 370\ny = 50\nperiod = 900\n\
    [[slot]]\nname = \"road\"\ndepth = 0\nart = \"b.png\"\nx = 0\ny = 90\nwidth = 200\nperiod = 900\n\
    [[slot]]\nname = \"near\"\ndepth = -60\nperiod = 900\n";

fn pictures(scene: &Scene) -> Pictures {
    let mut pictures = Pictures::default();
    for slot in scene.slots.iter().filter(|slot| slot.art.is_some()) {
        let size = if slot.name == "far" { [40, 40] } else { [200, 40] };
        let source = Source::from_bytes("a.png", flat_png(size, [60, 70, 50, 255]), &Limits::default());
        pictures.add(&slot.name, source.expect("a picture"));
    }
    pictures
}

fn notes(text: &str) -> Vec<String> {
    let scene = scene(text);
    plan(&scene, &pictures(&scene)).notes
}

#[test]
fn a_frame_goes_on_until_it_meets_the_ends_of_what_the_view_shows() {
    let scene = scene(TEXT);
    let whole = plan(&scene, &pictures(&scene));
    let frame = whole.in_frame([Px(160.0), Px(100.0)]);
    assert_eq!(frame.view, [Px(160.0), Px(100.0)]);
    assert_eq!(frame.travel, Travel::new(380.0, 36.0));
    assert_eq!(whole.in_frame(whole.view).travel, whole.travel);
}

#[test]
fn what_smaller_frames_show_otherwise_is_told() {
    let also = |frames: &str| TEXT.replace("travel =", &format!("also_view = {frames}\ntravel ="));
    let own = notes(TEXT);
    // The view itself shows nothing otherwise.
    assert_eq!(notes(&also("[[240, 136]]")), own);
    let new =
        |text: &str| -> Vec<String> { notes(text).into_iter().filter(|note| !own.contains(note)).collect() };
    let narrow = new(&also("[[160, 136]]"));
    // The road is 200 px wide: less than the view, but more than this frame, which goes to 540. The far picture begins at 370: the view sees
    // 240 + 300 / 2 = 390 of its plane, the frame 160 + 380 / 2 = 350.
    assert_eq!(
        narrow,
        [
            "road: at 160 x 136, its picture ends inside the view: 340 px are missing on the right at camera place 380, from 40 px of travel on",
            "far: at 160 x 136, its picture never comes into view",
        ]
    );
    // 100 px high, the camera goes 36 down; at pan rate 5/4 the strip is then 100 + 45 high, the sheet 136.
    let low = new(&also("[[240, 100]]"));
    assert!(
        low.iter()
            .any(|note| note.starts_with("near: at 240 x 100, its sheet ends 9 px above the frame's foot")),
        "{low:?}"
    );
    // Drawn for its places, a sheet of 630 px holds the 615 that the view sees in front, not the 635 of the frame.
    let along = also("[[160, 136]]")
        .replace("depth = -60\nperiod = 900", "depth = -60\nperiod = 630\nalong = [[0, 1], [300, 2]]");
    let along = new(&along);
    assert!(
        along.iter().any(|note| note.starts_with(
            "near: at 160 x 136, its sheet, which is drawn for its places, begins again over the last 5 px"
        )),
        "{along:?}"
    );
}

#[test]
fn a_frame_larger_than_the_view_is_a_fault() {
    let text = TEXT.replace("travel =", "also_view = [[160, 100], [320, 100], [100, 200]]\ntravel =");
    let limits = Limits::default();
    let faults = read::read_text(Path::new("scene.toml"), &text, &[], &limits, false).expect_err("faults");
    let told = faults.to_string();
    assert_eq!(faults.list.len(), 2, "{told}");
    for part in
        ["320 x 100, which is wider than the `view`, 240 x 136", "[320, 136]", "taller", "scene.toml:2"]
    {
        assert!(told.contains(part), "{part} in:\n{told}");
    }
}

fn checked(text: &str) -> Report {
    let scene = scene(text);
    let limits = Limits::default();
    check::check(&scene, &pictures(&scene), 1.0, &limits).unwrap_or_else(|faults| panic!("{faults}"))
}

/// Without rims, an outline in a frame is that of the scene whose view the frame is, with the travel that goes with it.
#[test]
fn outlines_in_a_frame_are_those_of_a_scene_with_that_view() {
    let wanted = TEXT.replace("separation = 0", "separation = 0\nspread = 4");
    let report = checked(&wanted.replace("travel =", "also_view = [[160, 136]]\ntravel ="));
    let alone = checked(&wanted.replace("[240, 136]", "[160, 136]").replace("travel = 300", "travel = 380"));
    let [frame] = &report.frames[..] else { panic!("{:?}", report.frames) };
    assert_eq!((frame.frame, frame.travel), ([160.0, 136.0], Travel::new(380.0, 0.0)));
    for (here, there) in frame.slots.iter().zip(&alone.slots) {
        assert_eq!((&here.slot, here.points), (&there.slot, there.points));
        let apart =
            (here.after.median - there.after.median).abs().max((here.after.least - there.after.least).abs());
        assert!(apart < 0.2, "{here:?} {:?}", there.after);
    }
    assert!(frame.slots[0].points == 0 && frame.slots[1].points > 100, "{:?}", frame.slots);
    // Of the play plane's sheet 380 px pass by: 380 / 900 of its period.
    let turns = frame.slots[1].turns.unwrap();
    assert!((turns - 380.0 / 900.0).abs() < 1e-9, "{turns}");
}
