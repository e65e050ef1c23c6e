//! Whole paintings in: canvases as wide as the level, groups, folders of exported layers, and projects that share pictures.

use crate::openraster::painted;
use crate::outside::codes;
use std::path::Path;
use std::process::{Command, Output};

/// Runs the program in `folder`.
fn fogweft(folder: &Path, line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fogweft"))
        .current_dir(folder)
        .args(line.split_whitespace())
        .output()
        .unwrap()
}

fn runs(folder: &Path, line: &str) -> String {
    let output = fogweft(folder, line);
    assert!(output.status.success(), "{line}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Runs the program, which must fail with `code`; returns what it says.
fn fails(folder: &Path, line: &str, code: i32) -> String {
    let output = fogweft(folder, line);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{line}: {said}");
    said
}

fn text(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).unwrap()
}

fn manifest(folder: &Path) -> serde_json::Value {
    serde_json::from_str(&text(folder, "manifest.json")).unwrap()
}

/// Path, x and width of every picture.
fn arts(manifest: &serde_json::Value) -> Vec<(String, f64, f64)> {
    let files = manifest["files"].as_array().unwrap().iter().filter(|file| file["kind"] == "art");
    let side = |file: &serde_json::Value, at: usize| file["rect"][at].as_f64().unwrap();
    files.map(|file| (file["slot"].as_str().unwrap().to_owned(), side(file, 0), side(file, 2))).collect()
}

const CANVAS: &str = r#"<image version="0.0.5" w="640" h="180"><stack>
  <layer name="bank depth -60" src="data/bank.png" x="0" y="150"/>
  <stack name="hut" opacity="0.5">
    <layer name="roof" src="data/roof.png" x="100" y="60" opacity="0.5"/>
    <layer name="wall" src="data/wall.png" x="110" y="70"/>
    <layer name="sketch" src="data/sky.png" visibility="hidden"/>
  </stack>
  <layer name="old hills depth 900" src="data/hills.png" y="80" composite-op="svg:multiply"/>
  <layer name="sky" src="data/sky.png"/>
</stack></image>"#;

fn canvas(xml: &str) -> Vec<u8> {
    painted(
        xml,
        &[
            ("data/bank.png", [640, 30], [20, 30, 20, 255]),
            ("data/roof.png", [60, 30], [200, 40, 10, 128]),
            ("data/wall.png", [40, 40], [10, 80, 160, 255]),
            ("data/hills.png", [640, 60], [60, 70, 90, 255]),
            ("data/sky.png", [640, 180], [150, 170, 190, 255]),
        ],
    )
}

#[test]
fn a_canvas_as_wide_as_the_level_asks_for_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::create_dir(root.join("paintings")).unwrap();
    std::fs::write(root.join("paintings/level.ora"), canvas(CANVAS)).unwrap();
    let said = runs(root, "new levels/one --from paintings/level.ora");
    for words in [
        "the canvas is 640 x 180 px: the view is 320 x 180 px, and the travel the other 320 px; --view W,H",
        "old hills depth 900: its blend mode, svg:multiply, is ignored",
        "bank: it is nearer than the play plane and ends 192 px short",
        "fogweft.toml: scenes below",
    ] {
        assert_eq!(said.matches(words).count(), 1, "{words}: {said}");
    }
    // It points at the painting where it stands, and shares the rest of the project.
    assert!(root.join("fogweft.toml").is_file() && !root.join("levels/one/level.ora").exists());
    let scene = text(root, "levels/one/scene.toml");
    assert!(scene.contains("view = [320, 180]\ntravel = 320 "), "{scene}");
    assert!(scene.contains("art = \"../../paintings/level.ora#old hills\"\n"), "{scene}");
    runs(root, "render levels/one/scene.toml --quiet --out out");
    let all = manifest(&root.join("out"));
    let named = |name: &str, x: f64, width: f64| (name.to_owned(), x, width);
    assert_eq!(
        arts(&all),
        [
            named("sky", 0.0, 640.0),
            named("old hills", 0.0, 640.0),
            named("hut", 100.0, 60.0),
            named("bank", 0.0, 640.0)
        ]
    );
    // A second scene finds the project there. Another frame begins at the canvas's top; the rest is travel, to the right and down.
    let said = runs(root, "new levels/two --from paintings/level.ora --view 200,100 --ungroup");
    assert!(!said.contains("fogweft.toml") && !said.contains("the canvas is"), "{said}");
    let scene = text(root, "levels/two/scene.toml");
    assert!(
        scene.contains("view = [200, 100]\ntravel = [440, 80] ") && scene.contains("\nground = 163 "),
        "{scene}"
    );
    let said = fails(root, "new levels/three --from paintings/level.ora --view 641,100", 2);
    assert!(said.contains("larger than the canvas of 640 x 180 px"), "{said}");
    assert!(!root.join("levels/three").exists());
}

/// Porter and Duff's `over` (Compositing Digital Images, SIGGRAPH 1984) with the layers' opacities, by hand.
#[test]
fn a_group_is_one_picture_with_its_layers_opacities() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::write(root.join("level.ora"), canvas(CANVAS)).unwrap();
    runs(root, "new . --from level.ora");
    runs(root, "render scene.toml --quiet --out out");
    let ([width, height], texels) = codes(&std::fs::read(root.join("out/hut.art.png")).unwrap());
    assert_eq!([width, height], [60, 50]);
    // Half a group of a wall under half a roof of 128 codes.
    let (wall, roof) = (0.5, 0.25 * 128.0 / 255.0);
    let both = roof + wall * (1.0 - roof);
    let channel =
        |roof_code: f64, wall_code: f64| (roof_code * roof + wall_code * wall * (1.0 - roof)) / both;
    let expected = [channel(200.0, 10.0), channel(40.0, 80.0), channel(10.0, 160.0), both * 255.0];
    let found = texels[15 * 60 + 20];
    for (one, other) in found.iter().zip(expected) {
        assert!((f64::from(*one) - other).abs() <= 1.0, "{found:?} for {expected:?}");
    }
    assert_eq!(texels[5 * 60 + 2][3], (roof * 255.0_f64).round() as u8, "the roof alone");
    assert_eq!(texels[45 * 60 + 2][3], 0, "beside the wall");
}

#[test]
fn two_layers_of_one_name_get_a_message() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::write(root.join("level.ora"), canvas(&CANVAS.replace("\"sky\"", "\"hut\""))).unwrap();
    let said = fails(root, "new game --from level.ora", 4);
    assert!(
        said.contains("the file has 2 layers called \"hut\"") && said.contains("a name of its own"),
        "{said}"
    );
    assert!(!root.join("game").exists() && !root.join("fogweft.toml").exists(), "nothing was written");
    // So does a scene that names one of them.
    std::fs::write(
        root.join("scene.toml"),
        "view = [64, 32]\n[[slot]]\nname = \"a\"\ndepth = 5\nart = \"level.ora#hut\"\n",
    )
    .unwrap();
    let said = fails(root, "check scene.toml", 4);
    assert!(said.contains("scene.toml:5") && said.contains("2 layers called \"hut\""), "{said}");
}

fn png(path: &Path, size: [u32; 2], texel: [u8; 4]) {
    image::RgbaImage::from_pixel(size[0], size[1], image::Rgba(texel)).save(path).unwrap();
}

#[test]
fn a_folder_of_exported_layers_is_a_painting() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let at = |name: &str| root.join("layers").join(name);
    std::fs::create_dir(root.join("layers")).unwrap();
    png(&at("1 sky.png"), [640, 180], [150, 170, 190, 255]);
    png(&at("2 hills depth 300.png"), [640, 180], [60, 70, 90, 255]);
    png(&at("3 reeds.png"), [640, 180], [10, 20, 10, 255]);
    runs(root, "new . --from layers");
    let scene = text(root, "scene.toml");
    assert!(scene.contains("view = [320, 180]\ntravel = 320 "), "{scene}");
    assert!(
        scene.contains(
            "name = \"2 hills\"\ndepth = 300\nart = \"layers/2 hills depth 300.png\"\nx = 0\ny = 0\n"
        )
    );
    runs(root, "render scene.toml --quiet --out out");
    assert_eq!(
        arts(&manifest(&root.join("out"))).iter().map(|art| art.0.as_str()).collect::<Vec<_>>(),
        ["1 sky", "2 hills", "3 reeds"]
    );

    // Trimmed ones need a table of places.
    png(&at("3 reeds.png"), [100, 40], [10, 20, 10, 255]);
    let said = fails(root, "new two --from layers", 4);
    assert!(said.contains("3 reeds.png 100 x 40 px") && said.contains("name,x,y,depth"), "{said}");
    std::fs::write(
        at("places.csv"),
        "name,x,y,depth\n1 sky.png,0,0,4000\nreeds,9,9,\n3 reeds,-20,140,oops\n",
    )
    .unwrap();
    let said = fails(root, "new two --from layers", 4);
    for words in [
        "row 3: there is no picture \"reeds\"",
        "the table can't be read",
        "no row for 2 hills depth 300.png",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    std::fs::write(
        at("places.csv"),
        "name,x,y,depth\n1 sky,0,0,4000\n2 hills depth 300,0,0,\n3 reeds,-20,140,12\n",
    )
    .unwrap();
    runs(root, "new two --copy --from layers");
    let scene = text(root, "two/scene.toml");
    assert!(
        scene.contains("name = \"3 reeds\"\ndepth = 12\nart = \"3 reeds.png\"\nx = -20\ny = 140\n"),
        "{scene}"
    );
    runs(root, "render two/scene.toml --quiet --out out");
    assert!(arts(&manifest(&root.join("out"))).contains(&("3 reeds".to_owned(), -20.0, 100.0)));

    // An unpacked archive says it itself.
    let stack = r#"<image w="640" h="180"><stack><layer name="reeds depth 7" src="3 reeds.png" x="5" y="6"/><layer name="sky" src="1 sky.png"/></stack></image>"#;
    std::fs::write(at("stack.xml"), stack).unwrap();
    runs(root, "new three --copy --from layers");
    let scene = text(root, "three/scene.toml");
    assert!(scene.contains("name = \"reeds\"\ndepth = 7\nart = \"3 reeds.png\"\nx = 5\ny = 6\n"), "{scene}");
}

/// What stands in the folder's files may not make a copy land elsewhere.
#[test]
fn an_unpacked_archive_names_no_picture_outside_its_folder() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    std::fs::create_dir_all(root.join("a/layers")).unwrap();
    std::fs::write(root.join("fogweft.toml"), "").unwrap();
    png(&root.join("secret.png"), [40, 20], [10, 20, 10, 255]);
    let stack = r#"<image w="40" h="20"><stack><layer name="x" src="../../secret.png"/></stack></image>"#;
    std::fs::write(root.join("a/layers/stack.xml"), stack).unwrap();
    let said = fails(root, "new b/c/d/e --copy --from a/layers", 4);
    assert!(said.contains("stack.xml") && said.contains("leaves the scene's folder"), "{said}");
    assert!(!root.join("b").exists());
}

#[test]
fn pictures_are_shared_below_a_projects_root_and_not_above() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path().join("game");
    std::fs::create_dir_all(root.join("levels/one")).unwrap();
    png(&root.join("hut.png"), [40, 20], [10, 20, 10, 255]);
    png(&folder.path().join("secret.png"), [40, 20], [10, 20, 10, 255]);
    let scene = |art: &str| {
        let text = format!("view = [64, 32]\n[[slot]]\nname = \"a\"\ndepth = 5\nart = \"{art}\"\n");
        std::fs::write(root.join("levels/one/scene.toml"), text).unwrap();
    };
    scene("../../hut.png");
    let said = fails(&root, "check levels/one/scene.toml", 3);
    assert!(said.contains("leaves the scene's folder") && said.contains("fogweft.toml"), "{said}");
    std::fs::write(root.join("fogweft.toml"), "").unwrap();
    runs(&root, "render levels/one/scene.toml --quiet --out out");
    assert_eq!(arts(&manifest(&root.join("out")))[0].0, "a");
    scene("../../../secret.png");
    let said = fails(&root, "check levels/one/scene.toml", 3);
    assert!(said.contains("scene.toml:5") && said.contains("leaves the project's folder"), "{said}");
}
