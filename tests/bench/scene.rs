//! The whole run of a scene, as ratios: from the start of the program to its end. Each rival and the project run in turns.

use crate::measure::{self, Measured, Table, best, pair, program, run, run_until};
use std::fmt::Write;
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};
use tungstenite::client::IntoClientRequest;

/// What the largest runs may hold by their plans: rather too much.
const LIMIT: &str = "memory=17179869184";

/// Rows of the table, from the demo's scene.
pub type Part = fn(&mut Table, &Scene<'_>);

/// The parts of the table and the words that ask for one of them.
pub const PARTS: [(&str, Part); 9] = [
    ("texels", texels),
    ("memory", memory),
    ("town", town),
    ("still", still),
    ("tweaks", tweaks),
    ("bare", bare),
    ("fit", fit),
    ("threads", threads),
    ("page", page),
];

/// The rows of `parts`; `folder` is for what is rendered.
pub fn rows(table: &mut Table, folder: &Path, parts: &[Part]) {
    run(program().arg("demo").arg(folder.join("marsh")));
    let demo = Scene { file: folder.join("marsh/scene.toml"), folder };
    parts.iter().for_each(|part| part(table, &demo));
}

/// A scene that is rendered into folders beside it.
pub struct Scene<'a> {
    file: PathBuf,
    folder: &'a Path,
}

impl Scene<'_> {
    fn out(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// The command that renders it into the folder `out`.
    fn command(&self, out: &str, more: &[&str]) -> std::process::Command {
        let mut command = program();
        command.arg("render").arg(&self.file).args(more).arg("--out").arg(self.out(out));
        command
    }

    /// A run into a folder that holds nothing.
    fn full(&self, out: &str, more: &[&str]) -> Measured {
        let _ = fs::remove_dir_all(self.out(out));
        run(&mut self.command(out, more))
    }

    /// A run after others, which made nothing else.
    fn again(&self, out: &str, more: &[&str]) -> Measured {
        run(&mut self.command(out, more))
    }
}

/// The texels of all files that the manifest in `folder` names, as RGBA.
fn pictures(folder: &Path) -> Vec<(Vec<u8>, [u32; 2])> {
    let text = fs::read_to_string(folder.join("manifest.json")).expect("a manifest");
    let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let files = manifest["files"].as_array().expect("files");
    let picture = |file: &serde_json::Value| {
        let picture = image::open(folder.join(file["path"].as_str().expect("a path"))).expect("a picture");
        (picture.to_rgba8().into_raw(), [picture.width(), picture.height()])
    };
    files.iter().map(picture).collect()
}

fn seconds(measured: &Measured) -> f64 {
    measured.time.as_secs_f64()
}

fn texels(table: &mut Table, demo: &Scene<'_>) {
    for (name, scale, count, [bar, goal]) in
        [("1080p", "1", 4, [3.5, 2.5]), ("1080p at scale 2", "2", 2, [3.0, 2.0])]
    {
        let mut all = Vec::new();
        let (whole, fast) = pair(
            count,
            || demo.full("texels", &["--scale", scale]),
            || {
                if all.is_empty() {
                    all = pictures(&demo.out("texels"));
                }
                measure::timed(|| {
                    all.iter().map(|(texels, size)| measure::encode_fast(texels, *size)).sum::<usize>()
                })
            },
        );
        let bytes: usize = all.iter().map(|(texels, _)| texels.len()).sum();
        table.raw(&format!("demo, {name}"), &whole);
        table.raw(&format!("its {bytes} bytes of RGBA by crate png at Fast, one thread"), &fast);
        let ratio = seconds(&whole) / seconds(&fast);
        table.row_to_goal(&format!("demo, {name}, whole process / png's Fast"), ratio, bar, goal);
        if scale == "1" {
            let ratio = whole.peak as f64 / bytes as f64;
            table.row_to_goal("demo, 1080p, peak memory / its texels as RGBA", ratio, 0.8, 0.5);
        }
    }
}

fn memory(table: &mut Table, demo: &Scene<'_>) {
    let [one, four] = ["1", "4"].map(|scale| demo.full("memory", &["--scale", scale, "--limit", LIMIT]));
    table.raw("demo at scale 1", &one);
    table.raw("demo at scale 4", &four);
    let _ = fs::remove_dir_all(demo.out("memory"));
    table.row_to_goal(
        "demo, memory at scale 4 / at scale 1",
        four.peak as f64 / one.peak.max(1) as f64,
        3.0,
        2.0,
    );
}

/// Eleven rows of houses, one behind the other, at 7680x4320.
fn town(table: &mut Table, demo: &Scene<'_>) {
    let folder = demo.folder;
    let place = folder.join("town");
    fs::create_dir_all(&place).expect("a folder");
    let mut text = "view = [1920, 1080]\ntravel = 1920\ncamera = 800\npreset = \"mist\"\nhorizon = 500\n\
                    [air]\nhaze = \"#ccd0d4\"\nvisibility = 2500\n"
        .to_owned();
    for row in (0..11_u32).rev() {
        let name = format!("row{row}");
        fs::write(place.join(format!("{name}.svg")), houses(row)).expect("written");
        let (depth, y) = (row * 160, 420 - 24 * row);
        let _ = write!(
            text,
            "[[slot]]\nname = \"{name}\"\ndepth = {depth}\nart = \"{name}.svg\"\nx = 0\ny = {y}\n"
        );
    }
    fs::write(place.join("scene.toml"), text).expect("written");
    let town = Scene { file: place.join("scene.toml"), folder };
    let whole = town.full("town-out", &["--scale", "4", "--limit", LIMIT]);
    let _ = fs::remove_dir_all(town.out("town-out"));
    table.raw("town of eleven slots, 7680x4320", &whole);
    table.row_to_goal("town of eleven slots, 7680x4320, peak memory, GB", whole.peak as f64 / 1e9, 0.9, 0.5);
}

/// A drawing of houses, 3840 by 600: the `row`th from the front.
fn houses(row: u32) -> String {
    let mut text = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"3840\" height=\"600\">".to_owned();
    let tone = 40 + 12 * row;
    let (mut x, mut turn) = (0, row + 1);
    while x < 3840 {
        // Any numbers that differ from house to house.
        turn = (turn * 75 + 74) % 65_537;
        let (wide, tall) = (90 + turn % 120, 160 + turn % 290);
        let (top, middle) = (600 - tall, x + wide / 2);
        let _ = write!(
            text,
            "<path d=\"M{x} 600V{top}L{middle} {}L{} {top}V600Z\" fill=\"rgb({tone},{},{})\"/>",
            top - 60,
            x + wide,
            tone + 6,
            tone + 14
        );
        for window in 0..wide / 30 {
            let (left, above) = (x + 10 + 30 * window, top + 30 + turn % 40);
            let _ = write!(
                text,
                "<rect x=\"{left}\" y=\"{above}\" width=\"12\" height=\"20\" fill=\"#d8c890\"/>"
            );
        }
        x += wide + turn % 60;
    }
    text + "</svg>"
}

fn still(table: &mut Table, demo: &Scene<'_>) {
    let still = || {
        let _ = fs::remove_dir_all(demo.out("still"));
        run_until(&mut demo.command("still", &[]), &demo.out("still").join("still.png"))
    };
    let shares: Vec<(Measured, Duration)> = (0..5).map(|_| still()).collect();
    let share = |(whole, there): &(Measured, Duration)| there.as_secs_f64() / seconds(whole);
    table.row_to_goal("demo, time until still.png / whole run", median(shares.iter().map(share)), 0.45, 0.3);
}

fn median(numbers: impl Iterator<Item = f64>) -> f64 {
    let mut numbers: Vec<f64> = numbers.collect();
    numbers.sort_by(f64::total_cmp);
    numbers[numbers.len() / 2]
}

/// The share of a full run that a run takes after it which sets `set` to one number of `numbers` after the other; the median.
fn tweak(scene: &Scene<'_>, set: &str, numbers: [u32; 5]) -> f64 {
    let shares = numbers.map(|number| {
        let full = scene.full("tweak", &[]);
        seconds(&scene.again("tweak", &["--set", &format!("{set}={number}")])) / seconds(&full)
    });
    median(shares.into_iter())
}

fn tweaks(table: &mut Table, demo: &Scene<'_>) {
    let smear = tweak(demo, "slot.hut.smear.length", [130, 140, 150, 160, 170]);
    table.row_to_goal("demo, tweak of one slot's smear / full run", smear, 0.15, 0.1);
    let seen = tweak(demo, "air.visibility", [2100, 2200, 2250, 2400, 2500]);
    table.row_to_goal("demo, tweak of the visibility / full run", seen, 0.3, 0.2);
}

/// Four slots of fog alone, alike in all that counts.
fn bare(table: &mut Table, demo: &Scene<'_>) {
    let folder = demo.folder;
    let mut text = "view = [1920, 1080]\ntravel = 1920\nair.haze = \"#c8ccd0\"\n".to_owned();
    for slot in 0..4 {
        let _ = write!(
            text,
            "[[slot]]\nname = \"s{slot}\"\ndepth = {}\nshrink = 1\nperiod = 4096\nsmear.length = 120\n",
            100 * slot
        );
    }
    fs::write(folder.join("bare.toml"), text).expect("written");
    let bare = Scene { file: folder.join("bare.toml"), folder };
    let share = tweak(&bare, "slot.s2.smear.length", [130, 140, 150, 160, 170]);
    table.row_to_goal("four bare slots, tweak of one's smear / full run", share, 0.35, 0.25);
}

fn fit(table: &mut Table, demo: &Scene<'_>) {
    let (fitted, full) = pair(
        2,
        || demo.full("fitted", &["--set", "texture.fit=error:0.5"]),
        || demo.full("full", &["--set", "texture.fit=full"]),
    );
    table.raw("demo, textures fitted within half a step", &fitted);
    table.raw("demo, textures as drawn", &full);
    let ratio = seconds(&fitted) / seconds(&full);
    table.row_to_goal("demo, fit = \"error:0.5\" / \"full\"", ratio, 1.5, 1.2);
}

/// At 3840x2160, on one thread and on two.
fn threads(table: &mut Table, demo: &Scene<'_>) {
    let render = |threads: &str, out: &str| {
        let _ = fs::remove_dir_all(demo.out(out));
        run(demo.command(out, &["--scale", "2"]).env("RAYON_NUM_THREADS", threads))
    };
    let (one, two) = pair(2, || render("1", "one"), || render("2", "two"));
    table.raw("demo at 3840x2160, one thread", &one);
    table.raw("demo at 3840x2160, two threads", &two);
    table.row_to_more("demo at 3840x2160, one thread / two", seconds(&one) / seconds(&two), 1.8, 1.9);
}

/// From the start of the program to the first picture on its page.
fn page(table: &mut Table, demo: &Scene<'_>) {
    let first = best(5, || measure::timed(|| first_draft(demo)));
    table.row_to_goal("demo, first draft on the page, s", seconds(&first), 1.0, 0.4);
}

fn first_draft(demo: &Scene<'_>) {
    let mut command = program();
    command.arg("tune").arg(&demo.file).args(["--port", "0"]).stdout(Stdio::piped());
    let mut child = command.env("XDG_STATE_HOME", demo.out("state")).spawn().expect("the program starts");
    let out = child.stdout.take().expect("its output");
    let lines = BufReader::new(out).lines().map_while(Result::ok);
    let address = lines.into_iter().find(|line| line.starts_with("http://")).expect("an address");
    let (host, token) =
        address["http://".len()..].trim_end_matches('/').split_once('/').expect("a host and a token");
    let stream = TcpStream::connect(host).expect("a connection");
    let mut request = format!("ws://{host}/{token}/socket").into_client_request().expect("a request");
    request.headers_mut().insert("Origin", format!("http://{host}").parse().expect("a host"));
    let (mut socket, _) = tungstenite::client(request, stream).expect("a socket");
    let start = Instant::now();
    while !socket.read().expect("a message").is_binary() {
        assert!(start.elapsed() < Duration::from_secs(60), "no picture comes");
    }
    let _ = child.kill();
    let _ = child.wait();
}
