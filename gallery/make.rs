//! Draws the gallery's pictures: `cargo run --release --example gallery -- NAME...`, or `all`, from the top of the repository.
//! Without a name it lists them. What each shows stands in `gallery/README.md`.

#[path = "make/mod.rs"]
mod make;

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let names: Vec<String> = std::env::args().skip(1).collect();
    let pictures = make::pictures();
    if names.is_empty() {
        for picture in &pictures {
            println!("{}", picture.name);
        }
        return ExitCode::SUCCESS;
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for name in &names {
        let asked: Vec<_> =
            pictures.iter().filter(|picture| name == "all" || picture.name == *name).collect();
        if asked.is_empty() {
            eprintln!("the gallery has no picture `{name}`; without a name its pictures are listed");
            return ExitCode::from(2);
        }
        for picture in asked {
            let file = root.join("gallery").join(picture.file());
            let written = picture
                .draw(root)
                .map_err(|fault| fault.to_string())
                .and_then(|drawn| std::fs::write(&file, drawn.png()).map_err(|error| error.to_string()));
            if let Err(fault) = written {
                eprintln!("{}: {fault}", picture.name);
                return ExitCode::FAILURE;
            }
            println!("{}", file.display());
        }
    }
    ExitCode::SUCCESS
}
