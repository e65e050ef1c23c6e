//! The moving picture: chunk rules, and a second reader.

use crate::outside::{self, SCENE, render, write_scene};
use std::io::Cursor;

struct Chunk<'a> {
    kind: &'a str,
    data: &'a [u8],
}

fn chunks(bytes: &[u8]) -> Vec<Chunk<'_>> {
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    let (mut at, mut all) = (8, Vec::new());
    while at < bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        all.push(Chunk {
            kind: std::str::from_utf8(&bytes[at + 4..at + 8]).unwrap(),
            data: &bytes[at + 8..at + 8 + length],
        });
        at += 12 + length;
    }
    all
}

fn word(data: &[u8], at: usize) -> u32 {
    u32::from_be_bytes(data[at..at + 4].try_into().unwrap())
}

#[test]
fn the_moving_picture_keeps_the_rules_and_pans() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    render(&scene, &out, &["--also", "pan", "--at", "0"]);
    let path = out.join("pan.apng");
    let bytes = std::fs::read(&path).unwrap();

    // PNG (third edition), 11.3.6 and 4.9: acTL before IDAT; one fcTL for each frame; one sequence without gaps; frames within the
    // picture; the first frame, which is also the default picture, of full size.
    let all = chunks(&bytes);
    let place = |kind: &str| all.iter().position(|chunk| chunk.kind == kind).unwrap();
    assert!(place("acTL") < place("IDAT") && place("fcTL") < place("IDAT") && place("sRGB") < place("IDAT"));
    let header = all[0].data;
    let (width, height) = (word(header, 0), word(header, 4));
    let control = all[place("acTL")].data;
    let (count, plays) = (word(control, 0), word(control, 4));
    assert_eq!(plays, 0, "without end");
    assert!(width <= 480 && count <= 64 && count > 1);
    let mut next = 0;
    let mut frames = 0;
    for chunk in &all {
        if chunk.kind == "fcTL" || chunk.kind == "fdAT" {
            assert_eq!(word(chunk.data, 0), next);
            next += 1;
        }
        if chunk.kind == "fcTL" {
            frames += 1;
            assert_eq!(chunk.data.len(), 26);
            let [w, h, x, y] = [4, 8, 12, 16].map(|at| word(chunk.data, at));
            assert!(x + w <= width && y + h <= height && w > 0 && h > 0);
        }
    }
    assert_eq!(frames, count);

    // Read by the PNG library's reader: the way goes there and back, and its first frame is the still at the start.
    let mut reader = png::Decoder::new(Cursor::new(&bytes)).read_info().unwrap();
    let mut pictures = Vec::new();
    for _ in 0..count {
        let mut buffer = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut buffer).unwrap();
        pictures.push(buffer);
    }
    assert!(pictures == outside::second_reader_of_frames(&bytes), "by a second reader");
    let count = count as usize;
    for at in 1..count {
        assert!(pictures[at] == pictures[count - at], "frame {at}");
    }
    assert!(pictures[0] != pictures[1] && pictures[1] != pictures[count / 2]);
    let (size, still) = outside::codes(&std::fs::read(out.join("still.png")).unwrap());
    assert_eq!(size, [width, height], "a small view is not shrunk");
    let far = pictures[0]
        .chunks_exact(3)
        .zip(&still)
        .flat_map(|(a, b)| [0, 1, 2].map(|at| a[at].abs_diff(b[at])))
        .max();
    assert!(far.unwrap() <= 1, "the still is dithered, the frames aren't");

    // A reader of others: Pillow.
    let script = "
import sys
from PIL import Image
picture = Image.open(sys.argv[1])
seen = []
for frame in range(picture.n_frames):
    picture.seek(frame); picture.load(); seen.append(picture.info['duration'])
print(picture.n_frames, picture.info.get('loop'), min(seen), max(seen), *picture.size)
";
    if let Some(said) = outside::python("PIL", script, &[path.to_str().unwrap()]) {
        assert_eq!(said.trim(), format!("{count} 0 80.0 80.0 {width} {height}"));
    }
}
