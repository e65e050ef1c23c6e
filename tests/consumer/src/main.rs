//! Fog in a program of its own: a texture whose seed comes from the command line, what of a ray gets through it, and a scene.

#![forbid(unsafe_code)]
#![warn(unused)]

use fogweft::{Faults, Fog, SceneInMemory};

const SCENE: &str = r##"
view = [160, 90]
[air]
haze = "#d9d0b8"
visibility = 600
[[slot]]
name = "hill"
depth = 300
art = "hill.svg"
"##;
const HILL: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="160" height="40"><path d="M0 40Q80-20 160 40Z"/></svg>"#;

fn made(seed: u64) -> Result<String, Faults> {
    let sheet = Fog::preset("mist").size(128, 64).line(50.0).seed(seed).optical_depth(1.5).build()?;
    let [width, height] = sheet.size();
    let texels = sheet.rgba8().len();
    let along = sheet.density_at(&[[0, 50], [64, 50]]);
    let rendered = SceneInMemory::from_text(SCENE).with_picture("hill.svg", HILL).render()?;
    let names: Vec<&str> = rendered.files.iter().map(|file| file.name.as_str()).collect();
    Ok(format!("{width} x {height}, {texels} bytes, {along:.2?}\n{}", names.join("\n")))
}

fn main() {
    let seed = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(1);
    match made(seed) {
        Ok(text) => println!("{text}"),
        Err(faults) => {
            eprintln!("{faults}");
            std::process::exit(i32::from(faults.exit_code()));
        }
    }
}
