//! Whatever is done and taken back in whatever order, the job verifies, and what it comes to is what its diary says.

use platenote::instrument::{PlatePlace, Spot};
use platenote::job::{Job, JobWriter, MeasuredIn, NewTake, PassAmendment, PassChange, PlanEdit, verify};
use platenote::repair::Work;
use proptest::prelude::*;

use super::job;

/// One thing done; numbers choose among what is there.
#[derive(Debug, Clone)]
enum Step {
    Add { pass: usize, reed: usize, sound: u8 },
    Mark(usize),
    UndoMark(u32),
    Withdraw(usize),
    Move { take: usize, reed: usize, pass: Option<usize> },
    Amend { pass: usize, celsius: Option<i8>, bench: bool },
    Rename { pass: usize, name: usize },
    Merge(usize, usize),
    WithdrawPass(usize),
    Undo(u32),
    RenameRow(usize),
    Renumber(u32, u32),
    UndoPlan,
}

const NAMES: [&str; 4] = ["before", "after", "spring", "autumn"];

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        4 => (0..3_usize, 0..6_usize, any::<u8>()).prop_map(|(pass, reed, sound)| Step::Add { pass, reed, sound }),
        1 => (0..6_usize).prop_map(Step::Mark),
        1 => (1..20_u32).prop_map(Step::UndoMark),
        2 => (0..9_usize).prop_map(Step::Withdraw),
        2 => (0..9_usize, 0..6_usize, proptest::option::of(0..3_usize))
            .prop_map(|(take, reed, pass)| Step::Move { take, reed, pass }),
        1 => (0..3_usize, proptest::option::of(5..30_i8), any::<bool>())
            .prop_map(|(pass, celsius, bench)| Step::Amend { pass, celsius, bench }),
        2 => (0..3_usize, 0..NAMES.len()).prop_map(|(pass, name)| Step::Rename { pass, name }),
        1 => (0..3_usize, 0..3_usize).prop_map(|(pass, into)| Step::Merge(pass, into)),
        1 => (0..3_usize).prop_map(Step::WithdrawPass),
        3 => (1..20_u32).prop_map(Step::Undo),
        1 => (0..3_usize).prop_map(Step::RenameRow),
        1 => (1..5_u32, 1..5_u32).prop_map(|(from, to)| Step::Renumber(from, to)),
        1 => Just(Step::UndoPlan),
    ]
}

fn change(job: &mut JobWriter, edit: &PlanEdit) -> bool {
    let Ok((text, origins)) = job.plan_after(edit) else { return false };
    job.change_plan(&text, &origins, false).is_ok()
}

/// Do it; what cannot be done is refused and changes nothing.
fn take(job: &mut JobWriter, step: &Step) -> bool {
    let reeds: Vec<_> = job.instrument().reeds().map(|(place, _)| place).take(6).collect();
    let pass = |job: &JobWriter, at: usize| {
        job.passes().get(at).map_or("nowhere".to_owned(), |pass| pass.pass.clone())
    };
    let file =
        |job: &JobWriter, at: usize| job.all_takes().get(at).map_or(String::new(), |take| take.file.clone());
    match step {
        Step::Add { pass, reed, sound } => {
            let opened = job.open_pass(NAMES[*pass], &PassChange::default());
            let new = NewTake {
                pass: opened.unwrap().pass,
                place: reeds[*reed].clone(),
                original: None,
                extension: "wav".into(),
                why: "the test says so".into(),
                lossy: false,
                remarks: vec![],
                clock: None,
            };
            job.store_bytes(new, &[*sound]).is_ok()
        }
        Step::Mark(reed) => job.mark(&[Spot::Reed(reeds[*reed].clone())], &Work::Tuned).is_ok(),
        Step::UndoMark(n) => job.undo(Some(*n)).is_ok(),
        Step::Withdraw(at) => job.withdraw_take(&file(job, *at), "").is_ok(),
        Step::Move { take, reed, pass: to } => {
            let to = to.map(|to| pass(job, to));
            let place = reeds[*reed].to_string();
            job.reassign(&file(job, *take), Some(&place), to.as_deref(), "").is_ok()
        }
        Step::Amend { pass: at, celsius, bench } => {
            let place = bench.then_some(MeasuredIn::Bench);
            let amendment = PassAmendment {
                place,
                temperature_c: Some(celsius.map(f64::from)),
                ..PassAmendment::default()
            };
            job.amend_pass(&pass(job, *at), &amendment).is_ok()
        }
        Step::Rename { pass: at, name } => job.rename_pass(&pass(job, *at), NAMES[*name]).is_ok(),
        Step::Merge(at, into) => job.merge_pass(&pass(job, *at), &pass(job, *into)).is_ok(),
        Step::WithdrawPass(at) => job.withdraw_pass(&pass(job, *at), "").is_ok(),
        Step::Undo(n) => job.undo_correction(Some(*n), true).is_ok(),
        Step::RenameRow(at) => {
            let (block, row) = (&reeds[0].plate.block, &reeds[0].plate.row);
            let name = ["A", "M", "N"][*at].to_owned();
            change(job, &PlanEdit::RenameRow { block: block.clone(), row: row.clone(), name })
        }
        Step::Renumber(from, to) => {
            let at = |number| PlatePlace { number, ..reeds[0].plate.clone() };
            change(job, &PlanEdit::Renumber { from: at(*from), to: at(*to) })
        }
        Step::UndoPlan => job.undo_plan().is_ok(),
    }
}

/// Everything the job comes to.
fn state(job: &Job) -> String {
    let passes = job.passes();
    let takes: Vec<_> = passes.iter().map(|pass| job.takes(&pass.pass)).collect();
    format!("{passes:?} {takes:?} {:?} {:?} {:?}", job.all_takes(), job.corrections(), job.marks())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_order_leaves_a_job_that_verifies_and_is_what_its_diary_says(steps in prop::collection::vec(step(), 1..30)) {
        let (_dir, folder) = job();
        let mut job = JobWriter::open(&folder).unwrap();
        let mut lines = String::new();
        for step in &steps {
            let before = state(&job);
            let is_done = take(&mut job, step);
            let now = super::diary(&folder);
            prop_assert!(now.starts_with(&lines), "{step:?} changed a line");
            // An addition that is refused may have opened its pass.
            prop_assert!(is_done || matches!(step, Step::Add { .. }) || state(&job) == before, "{step:?}");
            lines = now;
            // The state as it is carried along equals the one made anew.
            prop_assert_eq!(state(&job), state(&Job::open(&folder).unwrap()));
            let names: Vec<String> = job.passes().into_iter().map(|pass| pass.pass.to_lowercase()).collect();
            prop_assert!(names.iter().all(|name| names.iter().filter(|other| *other == name).count() == 1), "{names:?}");
        }
        let found = verify(&folder).unwrap();
        prop_assert!(!found.is_wrong(), "{:?}", found.troubles);
        // Every sound that was ever stored is there: counted, or withdrawn.
        prop_assert_eq!(found.whole_takes, job.all_takes().len());
    }

    #[test]
    fn a_correction_taken_back_is_as_if_it_had_never_been(
        first in prop::collection::vec(step(), 1..12), step in step()
    ) {
        let (_dir, folder) = job();
        let mut job = JobWriter::open(&folder).unwrap();
        for step in &first {
            take(&mut job, step);
        }
        let seen = |job: &Job| {
            let passes = job.passes();
            let takes: Vec<_> = passes.iter().map(|pass| job.takes(&pass.pass)).collect();
            format!("{passes:?} {takes:?}")
        };
        let before = (seen(&job), job.corrections().len());
        let is_other = matches!(step, Step::Add { .. } | Step::Mark(_) | Step::UndoMark(_) | Step::Undo(_));
        let is_of_plan = matches!(step, Step::RenameRow(_) | Step::Renumber(..) | Step::UndoPlan);
        let is_correction = !is_other && !is_of_plan;
        if is_correction && take(&mut job, &step) {
            let newest = job.corrections().last().unwrap().n;
            job.undo_correction(Some(newest), true).unwrap();
            prop_assert_eq!(seen(&job), before.0);
        }
    }
}
