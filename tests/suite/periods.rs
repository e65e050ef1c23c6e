//! Periods: no repeat shows twice in a view, and the stack doesn't come round within the travel.

use crate::util::{fogs, near, plan, scene};
use fogweft::base::law;
use fogweft::plan::Plan;
use fogweft::plan::period::LONGEST_WHOLE;
use fogweft::scene::pictures::Pictures;
use proptest::prelude::*;

/// The first camera place at which every sheet of the plan shows what it shows at the start, by trying every px of the travel:
/// all sheets stand within 2 % of a view of where they stood. Where none has gone half a period, nothing has come round.
fn comes_round(plan: &Plan) -> Option<f64> {
    let sheets: Vec<(f64, f64)> =
        fogs(plan).iter().map(|job| (job.placing.period.unwrap().0, job.placing.pan_rate)).collect();
    let same = 0.02 * plan.view[0].0;
    let places = plan.travel.right.0.floor() as u32;
    (1..=places).map(f64::from).find(|camera| {
        let off = |(period, rate): &(f64, f64)| {
            let shift = camera * rate / period;
            (shift - shift.round()).abs() * period
        };
        sheets.iter().any(|(period, rate)| camera * rate >= 0.5 * period)
            && sheets.iter().all(|sheet| off(sheet) < same)
    })
}

fn text(view: u32, travel: u32, slots: &[(f64, bool)]) -> String {
    let mut text =
        format!("view = [{view}, 90]\ntravel = {travel}\ncamera = 600\nseed = {}\n", view + travel);
    for (at, (depth, fog)) in slots.iter().enumerate() {
        text += &format!("[[slot]]\nname = \"s{at}\"\ndepth = {depth:?}\nfog = {fog}\n");
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn no_sheet_repeats_within_a_view_nor_the_stack_within_the_travel(
        view in 64..2000_u32,
        views in 0.0..12.0_f64,
        mut slots in proptest::collection::vec((-300.0..5000.0_f64, proptest::bool::weighted(0.8)), 1..9),
    ) {
        slots[0].1 = true;
        let travel = (f64::from(view) * views) as u32;
        let plan = plan(&scene(&text(view, travel, &slots)), &Pictures::default());
        for job in fogs(&plan) {
            let placing = &job.placing;
            let period = placing.period.unwrap();
            prop_assert!(period >= plan.view[0], "{} repeats within one view", placing.slot);
            // Whole texels at scales of a half and a quarter, too.
            prop_assert_eq!(period.0 % 16.0, 0.0);
            prop_assert_eq!(placing.rect.width, period);
            prop_assert_eq!(f64::from(placing.texels[0]), period.0);
            prop_assert!((placing.pan_rate - law::pan_rate(600.0, placing.depth)).abs() < 1e-12);
        }
        if let Some(camera) = comes_round(&plan) {
            // Only where no sheet could be made long enough, and then the plan says so.
            let shortest = fogs(&plan).iter().map(|job| job.placing.pan_rate).fold(f64::MAX, f64::min);
            let long = law::strip(plan.view, plan.travel, shortest)[0] > (LONGEST_WHOLE - 1.0) * plan.view[0];
            prop_assert!(
                long && plan.notes.iter().any(|note| note.contains("all sheets repeat")),
                "the stack comes round after {camera} of {travel}:\n{}",
                text(view, travel, &slots)
            );
        }
    }
}

/// Whether the plan says that a stack of two sheets comes round, where the far one is this share of its period off when the near one
/// has come round for the only time.
fn told_to_come_round(off: f64) -> bool {
    let way = 1000.0;
    let period = way * law::pan_rate(600.0, 300.0) / (1.0 + off);
    let text = format!(
        "view = [400, 90]\ntravel = 1500\ncamera = 600\n[[slot]]\nname = \"far\"\ndepth = 300\nperiod = {period:?}\n\
         [[slot]]\nname = \"near\"\ndepth = 0\nperiod = {way:?}\n"
    );
    let plan = plan(&scene(&text), &Pictures::default());
    assert_eq!(fogs(&plan).len(), 2);
    plan.notes.iter().any(|note| note.contains("all sheets repeat"))
}

/// Two sights closer than 4 % of a period look the same: 16 px of a period that fills this view. Chosen by eye, no source.
#[test]
fn what_is_a_twentieth_of_a_period_off_is_another_sight() {
    for (off, same) in [(0.0, true), (0.03, true), (-0.03, true), (0.05, false), (-0.05, false), (0.5, false)]
    {
        assert_eq!(told_to_come_round(off), same, "{off} of a period off");
    }
}

/// What the scene says is kept, even where it repeats within the view, or is no whole number of texels.
#[test]
fn a_given_period_is_kept() {
    for period in [50.0, 333.0, 1000.5, 5000.0] {
        let text = text(640, 3000, &[(0.0, true)]) + &format!("period = {period:?}\n");
        let plan = plan(&scene(&text), &Pictures::default());
        let placing = &fogs(&plan)[0].placing;
        near(placing.period.unwrap().0, period, 0.0);
        near(placing.rect.width.0, period, 0.0);
        assert_eq!(placing.texels[0], (period).round() as u32);
    }
}

/// The embedded demo, whose travel is two views.
#[test]
fn the_demo_never_repeats() {
    let bytes = fogweft::scene::start::DEMO.iter().find(|(name, _)| *name == "scene.toml").unwrap().1;
    let plan = plan(&scene(std::str::from_utf8(bytes).unwrap()), &Pictures::default());
    assert!(fogs(&plan).len() >= 6);
    assert_eq!(comes_round(&plan), None);
}
