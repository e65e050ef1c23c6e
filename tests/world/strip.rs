//! The strip of the whole travel, read by crate `image`: what stands alone keeps its shape, what is wide is seen column by column as the
//! camera passes, and no plane is torn.

use crate::outside::{self, decoded};
use std::path::{Path, PathBuf};

/// Renders the scene in `folder`; returns where the outputs are.
fn render(folder: &Path, more: &[&str]) -> PathBuf {
    let out = folder.join("out");
    outside::render(&folder.join("scene.toml"), &out, more);
    out
}

fn picture(path: &Path, size: [u32; 2], texel: impl Fn(u32, u32) -> [u8; 4]) {
    image::RgbaImage::from_fn(size[0], size[1], |x, y| image::Rgba(texel(x, y))).save(path).unwrap();
}

/// A wide far picture whose red rises along x, and a small one before it; no fog, so that what is seen is theirs alone.
fn level(folder: &Path, travel: u32) {
    let width = f64::from(200 + travel / 2);
    picture(&folder.join("far.png"), [width as u32, 100], |x, _| {
        [(f64::from(x) / width * 250.0) as u8, 40, 90, 255]
    });
    picture(&folder.join("post.png"), [20, 50], |_, _| [10, 200, 20, 255]);
    std::fs::write(
        folder.join("scene.toml"),
        format!(
            "view = [200, 100]\ntravel = {travel}\ncamera = 100\n[rim]\nseparation = 0\n\
             [[slot]]\nname = \"far\"\ndepth = 100\nart = \"far.png\"\ny = 0\nfog = false\n\
             [[slot]]\nname = \"post\"\ndepth = 25\nart = \"post.png\"\nx = 380\ny = 40\nfog = false\n\
             [[slot]]\nname = \"play\"\ndepth = 0\nart = \"post.png\"\nx = 250\ny = 40\nfog = false\n"
        ),
    )
    .unwrap();
}

#[test]
fn what_is_wide_is_seen_as_the_camera_passes_and_what_is_small_keeps_its_shape() {
    let folder = tempfile::tempdir().unwrap();
    level(folder.path(), 600);
    let out = render(folder.path(), &["--also", "strip"]);
    let (size, strip) = decoded(&std::fs::read(out.join("strip.png")).unwrap());
    assert_eq!(size, [800, 100]);
    let red = |x: usize, y: usize| strip[y * 800 + x][0] * 255.0;
    let green = |x: usize, y: usize| strip[y * 800 + x][1] * 255.0;
    // Each column is that in mid-view of the camera place that has it there; at both ends those beside it.
    for x in [2, 60, 99, 150, 300, 430, 520, 700, 790] {
        let camera = (f64::from(x) - 100.0).clamp(0.0, 600.0);
        let column = camera * 0.5 + (f64::from(x) - camera);
        assert!((red(x as usize, 20) - column / 500.0 * 250.0).abs() < 2.0, "{x}: {}", red(x as usize, 20));
    }
    // No jump anywhere.
    for x in 1..800 {
        assert!((red(x, 20) - red(x - 1, 20)).abs() <= 2.0, "torn at {x}");
    }
    let posts: Vec<usize> = (0..800).filter(|x| green(*x, 60) > 150.0).collect();
    // On the play plane where the scene has it; that of rate 0.8 is in mid-view at (390 - 100) / 0.8 = 362.5, and stands 100 px on.
    let wanted: Vec<usize> = (250..270).chain(453..473).collect();
    assert!(posts.len() == 40 && posts.iter().zip(&wanted).all(|(a, b)| a.abs_diff(*b) <= 1), "{posts:?}");
}

// Down as along: each row of what is high is that in mid-view, and what is small stands where it does in mid-view.
#[test]
fn a_level_that_pans_down_is_seen_from_top_to_bottom() {
    let folder = tempfile::tempdir().unwrap();
    picture(&folder.path().join("far.png"), [500, 250], |x, y| [(x / 2) as u8, 40, y as u8, 255]);
    picture(&folder.path().join("post.png"), [20, 50], |_, _| [10, 200, 20, 255]);
    std::fs::write(
        folder.path().join("scene.toml"),
        "view = [200, 100]\ntravel = [600, 300]\ncamera = 100\n[rim]\nseparation = 0\n\
         [[slot]]\nname = \"far\"\ndepth = 100\nart = \"far.png\"\nx = 0\ny = 0\nfog = false\n\
         [[slot]]\nname = \"post\"\ndepth = 25\nart = \"post.png\"\nx = 380\ny = 200\nfog = false\n\
         [[slot]]\nname = \"play\"\ndepth = 0\nart = \"post.png\"\nx = 250\ny = 340\nfog = false\n",
    )
    .unwrap();
    let out = render(folder.path(), &["--also", "strip"]);
    let (size, strip) = decoded(&std::fs::read(out.join("strip.png")).unwrap());
    assert_eq!(size, [800, 400]);
    let code = |x: usize, y: usize, channel: usize| strip[y * 800 + x][channel] * 255.0;
    for y in [1, 30, 49, 90, 200, 310, 352, 398] {
        let camera = (f64::from(y) - 50.0).clamp(0.0, 300.0);
        let row = camera * 0.5 + (f64::from(y) - camera);
        assert!((code(30, y as usize, 2) - row).abs() < 2.0, "{y}: {}, not {row}", code(30, y as usize, 2));
    }
    for y in 1..400 {
        assert!((code(30, y, 2) - code(30, y - 1, 2)).abs() <= 2.0, "torn at {y}");
    }
    let rows = |x: usize| -> Vec<usize> { (0..400).filter(|y| code(x, *y, 1) > 150.0).collect() };
    // That of rate 0.8 is in mid-view at (225 - 50) / 0.8 = 218.75, and stands 43.75 px lower; that on the play plane where the scene has it.
    for (x, first) in [(463, 244), (260, 340)] {
        let rows = rows(x);
        assert!(rows.len().abs_diff(50) <= 1 && rows[0].abs_diff(first) <= 1, "{rows:?}");
    }
}

#[test]
fn a_strip_that_is_too_wide_lies_in_parts_and_is_on_record() {
    let folder = tempfile::tempdir().unwrap();
    level(folder.path(), 600);
    let whole = render(folder.path(), &["--also", "strip"]);
    let (_, strip) = decoded(&std::fs::read(whole.join("strip.png")).unwrap());
    let parts = render(folder.path(), &["--also", "strip", "--limit", "side=500", "--again"]);
    let (size, laid) = decoded(&std::fs::read(parts.join("strip.png")).unwrap());
    assert_eq!(size, [400, 200]);
    for y in 0..100 {
        for x in 0..800 {
            assert_eq!(laid[(y + x / 400 * 100) * 400 + x % 400], strip[y * 800 + x], "{x}, {y}");
        }
    }
    let manifest: serde_json::Value =
        serde_json::from_slice(&std::fs::read(parts.join("manifest.json")).unwrap()).unwrap();
    assert!(manifest["exports"].as_array().unwrap().iter().any(|form| form["path"] == "strip.png"));
}

// Fog that repeats goes on repeating: no seam where a period ends. Fog for its places is as thick as in mid-view.
#[test]
fn fog_has_no_seam_and_follows_the_travel() {
    let folder = tempfile::tempdir().unwrap();
    let text = |along: &str| {
        format!(
            "view = [320, 120]\ntravel = 1600\ncamera = 200\nhorizon = 40\nground = 100\nbackdrop = \"#000000\"\n\
             [air]\nhaze = \"#ffffff\"\nvisibility = 900\nbeyond = 300\nblending = \"linear\"\n{along}\
             [[slot]]\nname = \"far\"\ndepth = 200\n[[slot]]\nname = \"near\"\ndepth = 0\nfog = false\n"
        )
    };
    std::fs::write(folder.path().join("scene.toml"), text("")).unwrap();
    let out = render(folder.path(), &["--also", "strip"]);
    let (size, strip) = decoded(&std::fs::read(out.join("strip.png")).unwrap());
    assert_eq!(size, [1920, 120]);
    let mut most: f64 = 0.0;
    for y in 0..120 {
        for x in 1..1920 {
            most = most.max((strip[y * 1920 + x][0] - strip[y * 1920 + x - 1][0]).abs() * 255.0);
        }
    }
    assert!(most < 9.0, "a step of {most} codes");
    std::fs::write(
        folder.path().join("scene.toml"),
        text("along = [[0, 0], [800, 0], [801, 4], [1600, 4]]\n"),
    )
    .unwrap();
    let out = render(folder.path(), &["--also", "strip"]);
    let (_, strip) = decoded(&std::fs::read(out.join("strip.png")).unwrap());
    let mean = |from: usize| (from..from + 100).map(|x| strip[80 * 1920 + x][0]).sum::<f64>() / 100.0;
    // In mid-view at 800 the strip is at 960.
    assert!(mean(840) < 0.5 * mean(980), "{} and {}", mean(840), mean(980));
}

/// Posts far apart on one plane, and posts on a wall that is as wide as the level: each keeps its shape, and those that stand alone stand where they are in mid-view.
#[test]
fn pictures_at_places_of_a_wide_slot_keep_their_shape() {
    let folder = tempfile::tempdir().unwrap();
    picture(&folder.path().join("wall.png"), [560, 40], |_, _| [120, 20, 20, 255]);
    picture(&folder.path().join("post.png"), [20, 50], |_, _| [10, 200, 20, 255]);
    let place = |x: u32| format!("[[slot.place]]\nart = \"post.png\"\nx = {x}\ny = 0\n");
    let level = |own: &str| {
        std::fs::write(
            folder.path().join("scene.toml"),
            format!(
                "view = [200, 100]\ntravel = 600\ncamera = 100\n[rim]\nseparation = 0\n\
                 [[slot]]\nname = \"street\"\ndepth = 25\nfog = false\n{own}{}{}{}",
                place(120),
                place(300),
                place(430)
            ),
        )
        .unwrap();
        let out = render(folder.path(), &["--also", "strip"]);
        let (size, strip) = decoded(&std::fs::read(out.join("strip.png")).unwrap());
        assert_eq!(size, [800, 100]);
        let posts: Vec<usize> = (0..800).filter(|x| strip[20 * 800 + x][0] < 0.25).collect();
        posts.chunk_by(|a, b| a + 1 == *b).map(|post| [post[0], post.len()]).collect::<Vec<_>>()
    };
    // Of rate 0.8: in mid-view at (middle - 100) / 0.8, where it stands 0.2 times as far on.
    let alone = level("");
    for ([left, wide], x) in alone.iter().zip([120.0, 300.0, 430.0]) {
        let wanted = x + 0.2 * (x + 10.0 - 100.0) / 0.8;
        assert!(wide.abs_diff(20) <= 1 && (*left as f64 - wanted).abs() <= 1.5, "{alone:?}: {wanted}");
    }
    let on_wall = level("art = \"wall.png\"\nx = 0\ny = 50\n");
    assert!(on_wall.len() == 3 && on_wall.iter().all(|[_, wide]| wide.abs_diff(20) <= 1), "{on_wall:?}");
}
