//! The job stage by stage, for one dress: `cargo bench --bench whole`.
//!
//! `cold_start` runs the built program from reading the files to the last file written, for one person and two devices.

use divan::{Bencher, black_box};
use oaktag::draft::Choices;
use oaktag::lay::Copies;
use oaktag::pipeline::{self, NamedDevice, Walked};
use oaktag::{allow, calibrate, device, draft, lay, mark, measures, order, style, walk, write};
use std::path::{Path, PathBuf};

fn main() {
    divan::main();
}

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(file(name)).expect("a file of the repository")
}

const STYLE: &str = "samples/evening-chorus.style.kdl";
const PERSON: &str = "samples/maren-holt.measures.kdl";

fn read_style() -> style::Style {
    style::read(&text(STYLE), STYLE).expect("reads")
}

fn read_person() -> measures::Measures {
    measures::read(&text(PERSON), PERSON).expect("reads").0
}

fn walked() -> Walked {
    pipeline::draft_and_walk(&read_style(), &read_person(), &Choices::new(), walk::TOLERANCE).expect("drafts")
}

fn named(name: &str) -> NamedDevice {
    let file = format!("profiles/{name}.device.kdl");
    NamedDevice { name: name.into(), device: device::read(&text(&file), &file).expect("reads").0 }
}

fn cut() -> Vec<allow::CutPiece> {
    pipeline::cut(&walked().set).expect("has cut lines").0
}

fn marked() -> Vec<mark::MarkedPiece> {
    pipeline::marked(&walked().set).expect("is marked").0
}

fn sheets(device: &NamedDevice) -> Vec<lay::Sheet> {
    lay::lay(&marked(), &device.device.media[0], Copies::One, "bench").expect("lays").0
}

#[divan::bench]
fn s1_read_style(bencher: Bencher) {
    let text = text(STYLE);
    bencher.bench(|| style::read(black_box(&text), STYLE).expect("reads"));
}

#[divan::bench]
fn s2_draft(bencher: Bencher) {
    let (style, person) = (read_style(), read_person());
    bencher.bench(|| draft::draft(black_box(&style), &person, &Choices::new()).expect("drafts"));
}

/// The dress with everything, style and measures already read: facings, zip, two ruffles, three varied lengths.
#[divan::bench]
fn s2_draft_lantern_night(bencher: Bencher) {
    let file = "samples/lantern-night.style.kdl";
    let style = style::read(&text(file), file).expect("reads");
    let person = read_person();
    bencher.bench(|| draft::whole(black_box(&style), &person, &Choices::new()).expect("drafts"));
}

/// 2,000 people: their files read and the dress drafted, on all cores.
#[divan::bench(sample_count = 5)]
fn s2_draft_2000_people(bencher: Bencher) {
    use rayon::prelude::*;
    let style = read_style();
    let folder = file("target/bench-people");
    std::fs::create_dir_all(&folder).expect("a folder");
    let paths: Vec<PathBuf> = (0..2000)
        .map(|number| {
            let path = folder.join(format!("{number}.measures.kdl"));
            // No two have the same bust.
            let girth = format!("\"bust girth\" \"{} in\"", 34.0 + f64::from(number) / 250.0);
            std::fs::write(&path, text(PERSON).replacen("\"bust girth\" \"36 1/2\"", &girth, 1)).expect("writes");
            path
        })
        .collect();
    bencher.bench(|| {
        let drafted = paths.par_iter().map(|path| {
            let text = std::fs::read_to_string(path).expect("is there");
            let (person, _) = measures::read(&text, "bench").expect("reads");
            draft::whole(black_box(&style), &person, &Choices::new()).expect("drafts").set.pieces.len()
        });
        drafted.sum::<usize>()
    });
}

#[divan::bench]
fn s3_walk(bencher: Bencher) {
    let (set, _) = draft::draft(&read_style(), &read_person(), &Choices::new()).expect("drafts");
    bencher.bench(|| pipeline::walk_pieces(black_box(set.clone()), walk::TOLERANCE));
}

#[divan::bench]
fn s4_allow(bencher: Bencher) {
    let set = walked().set;
    bencher.bench(|| pipeline::cut(black_box(&set)).expect("has cut lines"));
}

#[divan::bench]
fn s5_mark(bencher: Bencher) {
    let (set, cut) = (walked().set, cut());
    bencher.bench(|| pipeline::mark_all(black_box(&set), &cut).expect("is marked"));
}

#[divan::bench(args = ["roll-plotter", "card-cutter"])]
fn s6_lay(bencher: Bencher, name: &str) {
    let (marked, device) = (marked(), named(name));
    bencher.bench(|| lay::lay(black_box(&marked), &device.device.media[0], Copies::One, "bench").expect("lays"));
}

#[divan::bench(args = ["roll-plotter", "card-cutter"])]
fn s7_order(bencher: Bencher, name: &str) {
    let device = named(name);
    let sheet = sheets(&device).remove(0);
    bencher.bench(|| order::order(black_box(&sheet), &device.device, "bench").expect("orders"));
}

#[divan::bench(args = ["roll-plotter", "card-cutter"])]
fn s8_correct_and_write(bencher: Bencher, name: &str) {
    let device = named(name);
    let sheet = sheets(&device).remove(0);
    let correction = device.device.correction(&sheet.medium).cloned();
    // A job is corrected once and can't be copied, so each round has its own.
    let job = || order::order(&sheet, &device.device, "bench").expect("orders").0;
    bencher.with_inputs(job).bench_values(|job| {
        let corrected = calibrate::correct(black_box(job), correction.as_ref());
        match device.device.language {
            device::Language::Svg => write::svg(&corrected),
            _ => write::dxf(&corrected, write::Curves::Spline),
        }
    });
}

#[divan::bench(args = ["roll-plotter", "card-cutter"])]
fn s9_read_back_and_prove(bencher: Bencher, name: &str) {
    let device = named(name);
    let sheet = sheets(&device).remove(0);
    let (job, _) = order::order(&sheet, &device.device, "bench").expect("orders");
    let corrected = calibrate::correct(job, device.device.correction(&sheet.medium));
    let bytes = match device.device.language {
        device::Language::Svg => write::svg(&corrected),
        _ => write::dxf(&corrected, write::Curves::Spline),
    };
    bencher.bench(|| pipeline::prove(black_box(&bytes), name, &sheet, &device.device).expect("reads back"));
}

#[divan::bench]
fn s10_proof_sheet(bencher: Bencher) {
    let walked = walked();
    bencher.bench(|| pipeline::picture(black_box(&walked)).expect("has a picture"));
}

#[divan::bench(args = ["roll-plotter", "card-cutter"])]
fn s11_make(bencher: Bencher, name: &str) {
    let walked = walked();
    let devices = [named(name)];
    bencher.bench(|| pipeline::make(black_box(walked.clone()), &devices).expect("makes"));
}

#[divan::bench(sample_count = 20)]
fn cold_start(bencher: Bencher) {
    let out = file("target/bench-whole");
    bencher.bench(|| {
        let status = std::process::Command::new(env!("CARGO_BIN_EXE_oaktag"))
            .arg("make")
            .args([file(STYLE).as_os_str(), "--measures".as_ref(), file(PERSON).as_os_str()])
            .args(["--device", "roll-plotter", "card-cutter", "-o"])
            .arg(&out)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .status()
            .expect("the program starts");
        assert!(status.success());
    });
}
