//! Files that are small and ask for much: each is read or refused with little work and within a GiB.

use super::util::Scene;
use std::fmt::Write as _;
use std::process::Command;

const SVG: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"64\" height=\"36\">";

fn repeated(count: usize, each: impl Fn(usize) -> String) -> String {
    (0..count).map(each).collect()
}

/// A PNG of one bit a texel, 16,384 to a side.
fn one_bit() -> Vec<u8> {
    const SIDE: u32 = 16_384;
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, SIDE, SIDE);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().expect("begun");
    writer.write_image_data(&vec![0xaa; (SIDE / 8 * SIDE) as usize]).expect("written");
    writer.finish().expect("finished");
    file
}

/// Drawings that multiply what they are asked for: shapes times paints within paints, vertices times markers, octaves, dashes, rules.
fn multiplied() -> [(&'static str, String); 7] {
    let shapes = "<rect width='9' height='9'/>".repeat(100);
    let level = |at: usize, inside: String| {
        format!("<pattern id='p{at}' width='9' height='9' patternUnits='userSpaceOnUse'>{inside}</pattern>")
    };
    let patterns = repeated(7, |at| level(at + 1, format!("<g fill='url(#p{at})'>{shapes}</g>")));
    let used = repeated(8, |at| level(at + 1, format!("<use fill='url(#p{at})' href='#s'/>")));
    let zigzag = format!("M0 0{}", "L1 2L2 1".repeat(500));
    let path = |at: usize| format!("<path style='marker-mid: url(#k{at})' d='{zigzag}'/>");
    let markers = repeated(5, |at| format!("<marker id='k{}'>{}</marker>", at + 1, path(at)));
    let filled = "<rect width='64' height='36' fill='url(#p7)'/>";
    let octaves = "<feTurbulence baseFrequency='.1' numOctaves='1000000000'/>";
    [
        ("patterns.svg", format!("{}{patterns}{filled}", level(0, shapes.clone()))),
        ("used.svg", format!("<g id='s'>{shapes}</g>{}{used}{filled}", level(0, shapes.clone()))),
        ("markers.svg", format!("<marker id='k0'><rect width='1' height='1'/></marker>{markers}{}", path(5))),
        ("octaves.svg", format!("<filter id='f'>{octaves}</filter><g filter='url(#f)'>{shapes}</g>")),
        (
            "kernel.svg",
            format!(
                "<filter id='f' x='-9' y='-9' width='99' height='99'><feConvolveMatrix order='999' kernelMatrix='{}'/></filter><g filter='url(#f)'>{shapes}</g>",
                "1 ".repeat(999 * 999)
            ),
        ),
        ("dashes.svg", "<path d='M0 0H1e6' stroke='red' stroke-dasharray='.01'/>".repeat(2000)),
        (
            "lists.svg",
            format!(
                "<style>{}</style>{}",
                repeated(50_000, |at| format!(".a{at} .b{{fill:red}}")),
                "<g class='b'/>".repeat(20_000)
            ),
        ),
    ]
}

fn svgs() -> [(&'static str, String); 8] {
    const RECT: &str = "<rect width=\"1\" height=\"1\"/>";
    let gradient = "<linearGradient id=\"g\"><stop offset=\"0\"/><stop offset=\"1\" stop-color=\"#123\"/></linearGradient>";
    let classed = |classes: String| format!("<rect class=\"{classes}\" width=\"1\" height=\"1\"/>");
    [
        ("gradient.svg", format!("{gradient}<g fill=\"url(#g)\">{}</g>", RECT.repeat(20_000))),
        (
            "uses.svg",
            format!(
                "{gradient}<g id=\"a\">{}</g>{}",
                RECT.repeat(20_000),
                "<use href=\"#a\" fill=\"url(#g)\"/>".repeat(20_000)
            ),
        ),
        (
            "rules.svg",
            format!(
                "<style>{}</style>{}",
                repeated(20_000, |at| format!(".c{at}{{fill:#123}}")),
                repeated(20_000, |at| classed(format!("c{at}")))
            ),
        ),
        ("attributes.svg", format!("<rect{}/>", repeated(200_000, |at| format!(" a{at}=\"1\"")))),
        (
            "classes.svg",
            format!(
                "<style>{}</style>{}",
                repeated(10_000, |at| format!(".c{at}{{fill:#123}}")),
                repeated(2_000, |at| classed(repeated(50, |list| format!("c{} ", (7 * at + list) % 10_000))))
            ),
        ),
        (
            "stops.svg",
            format!(
                "<linearGradient id=\"g\">{}</linearGradient><rect width=\"64\" height=\"36\" fill=\"url(#g)\"/>",
                repeated(100_000, |at| format!("<stop offset=\"{}\" stop-color=\"#123\"/>", at as f64 / 1e5))
            ),
        ),
        ("text.svg", "<g>a=b ".repeat(400) + &"</g>".repeat(400)),
        ("open.svg", "<g ".repeat(100_000)),
    ]
}

/// Entities that are never closed, before the root element.
fn entities() -> String {
    let half = repeated(2000, |at| {
        format!("<!ENTITY e{at} \"<g>{}", if at > 0 { format!("&e{};", at - 1) } else { String::new() })
    });
    format!("<!DOCTYPE svg [{half}]>{SVG}&e1999;</svg>")
}

fn layered(scene: &Scene, name: &str, layers: &str) {
    let xml = format!("<image version=\"0.0.3\" w=\"64\" h=\"36\"><stack>{layers}</stack></image>");
    scene.layered(name, &xml);
}

/// Runs with 10 s of processor time and an address space of 1.5 GiB: threads reserve more than they take. What is over either is ended by
/// a signal.
#[track_caller]
fn within(scene: &Scene, args: &[&str]) {
    let plain = scene.command(args);
    let mut shell = Command::new("sh");
    shell.args(["-c", "ulimit -t 10; ulimit -v 1572864; exec \"$0\" \"$@\""]);
    shell.arg(plain.get_program()).args(plain.get_args()).current_dir(scene.path("."));
    shell.envs(plain.get_envs().filter_map(|(name, value)| Some((name, value?))));
    let begun = std::time::Instant::now();
    let done = shell.output().expect("a shell");
    println!("{args:?}: {:?}, {:.1} s", done.status.code(), begun.elapsed().as_secs_f64());
    let text = String::from_utf8_lossy(&done.stderr);
    assert!(matches!(done.status.code(), Some(0 | 3 | 4 | 6)), "{args:?}: {:?} {text}", done.status);
    assert!(!text.contains("panicked"), "{args:?}: {text}");
}

#[test]
fn small_files_that_ask_for_much_are_bounded() {
    let scene = Scene::new();
    let mut files: Vec<&str> = Vec::new();
    scene.write("bit.png", one_bit());
    scene.write("entities.svg", entities());
    files.extend(["bit.png", "entities.svg"]);
    for (name, body) in svgs().into_iter().chain(multiplied()) {
        let mut text = SVG.to_owned();
        write!(text, "{body}</svg>").expect("written");
        scene.write(name, text);
        files.push(name);
    }
    for name in files {
        let slot = format!("[[slot]]\nname = \"a\"\ndepth = 9\nart = \"{name}\"\nwidth = 64\n");
        scene.write("odd.toml", format!("view = [64, 36]\n{slot}"));
        let mut args = vec!["render", "odd.toml", "--out", "o", "--quiet"];
        if std::env::var_os("FOGWEFT_THOROUGH").is_none() {
            args.extend(["--limit", "read-seconds=1"]);
        }
        within(&scene, &args);
    }
    let layer = |more: String| format!("<layer name=\"a\" src=\"data/a.png\"{more}/>");
    layered(&scene, "attributes.ora", &layer(repeated(90_000, |at| format!(" a{at}=\"\""))));
    layered(&scene, "layers.ora", &layer(String::new()).repeat(15_000));
    for name in ["attributes.ora", "layers.ora"] {
        within(&scene, &["new", "made", "--from", name]);
        assert!(!scene.path("made").exists(), "{name}");
    }
}
