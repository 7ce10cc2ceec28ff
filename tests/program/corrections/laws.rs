//! Whatever is done and taken back in whatever order, the job verifies, and what it comes to is what its diary says.

use std::path::Path;

use platenote::instrument::{Material, PlatePlace, Spot};
use platenote::job::{
    Job, JobWriter, MeasuredIn, NewTake, PassAmendment, PassChange, Plan, PlanEdit, verify,
};
use platenote::repair::{Condition, Lot, Work};
use platenote::units::Millimetres;
use proptest::prelude::*;

use super::job;

/// One thing done; numbers choose among what is there.
#[derive(Debug, Clone)]
enum Step {
    Add {
        pass: usize,
        reed: usize,
        sound: u8,
    },
    Mark(usize),
    UndoMark(u32),
    Withdraw(usize),
    Move {
        take: usize,
        reed: usize,
        pass: Option<usize>,
    },
    Amend {
        pass: usize,
        celsius: Option<i8>,
        bench: bool,
    },
    Rename {
        pass: usize,
        name: usize,
    },
    Merge(usize, usize),
    WithdrawPass(usize),
    Undo(u32),
    RenameRow(usize),
    Renumber(u32, u32),
    UndoPlan,
    /// The plan's text is edited while no program has it open.
    ByHand(PlanByHand),
    Count(u32, bool),
    ValveOff(usize, bool),
    ValveFitted(usize),
}

#[derive(Debug, Clone)]
enum PlanByHand {
    Renumber(u32, u32),
    RenameRow(usize),
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
        1 => (1..5_u32, 1..5_u32).prop_map(|(from, to)| Step::ByHand(PlanByHand::Renumber(from, to))),
        1 => (0..3_usize).prop_map(|at| Step::ByHand(PlanByHand::RenameRow(at))),
        1 => (0..4_u32, any::<bool>()).prop_map(|(count, whole)| Step::Count(count, whole)),
        1 => (0..6_usize, any::<bool>()).prop_map(|(reed, said)| Step::ValveOff(reed, said)),
        1 => (0..6_usize).prop_map(Step::ValveFitted),
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
                recorded: None,
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
        Step::ByHand(_) => false,
        Step::Count(count, whole) => {
            let lot = Lot {
                length: Millimetres::new(38.0).unwrap(),
                width: None,
                thickness: None,
                material: Material::Leather,
                condition: Condition::Flat,
                bin: None,
                count: *count,
            };
            job.count(&[lot], *whole).is_ok()
        }
        Step::ValveOff(reed, said) => {
            let work = if *said { "valve off flat 38 mm" } else { "valve off 38 mm" };
            job.mark(&[Spot::Reed(reeds[*reed].clone())], &Work::parse(&[work]).unwrap()).is_ok()
        }
        Step::ValveFitted(reed) => {
            let work = Work::parse(&["valve fitted 38 mm"]).unwrap();
            job.mark(&[Spot::Reed(reeds[*reed].clone())], &work).is_ok()
        }
    }
}

/// Edit the plan's text as a person would, each plate with its number.
fn edit_by_hand(folder: &Path, edit: &PlanByHand) {
    let file = folder.join("plan.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let plan = Plan::parse(&text, &file).unwrap();
    let (first, ..) = plan.instrument.plates().next().unwrap();
    let edit = match edit {
        PlanByHand::Renumber(from, to) => {
            let at = |number| PlatePlace { number, ..first.clone() };
            PlanEdit::Renumber { from: at(*from), to: at(*to) }
        }
        PlanByHand::RenameRow(at) => {
            let name = ["A", "M", "N"][*at].to_owned();
            PlanEdit::RenameRow { block: first.block, row: first.row, name }
        }
    };
    if let Ok((plan, _)) = plan.after(&edit) {
        std::fs::write(&file, plan.written_into(&text)).unwrap();
    }
}

/// Which plate each take is of, by its number in the plan.
fn plates(job: &Job) -> Vec<(String, Option<u32>)> {
    let plan = Plan::parse(&job.plan_text(), Path::new("plan.toml")).unwrap();
    let number = |place: &str| {
        let place = job.instrument().reed_place(place).ok()?;
        plan.numbers.get(&place.plate).copied()
    };
    job.all_takes().into_iter().map(|take| (take.file, number(&take.place))).collect()
}

/// Everything the job comes to.
fn state(job: &Job) -> String {
    let passes = job.passes();
    let takes: Vec<_> = passes.iter().map(|pass| job.takes(&pass.pass)).collect();
    format!(
        "{passes:?} {takes:?} {:?} {:?} {:?}",
        job.all_takes(),
        job.corrections(),
        (job.marks(), job.bench())
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_order_leaves_a_job_that_verifies_and_is_what_its_diary_says(steps in prop::collection::vec(step(), 1..30)) {
        let (_dir, folder) = job();
        let mut job = JobWriter::open(&folder).unwrap();
        let mut lines = String::new();
        for step in &steps {
            if let Step::ByHand(edit) = step {
                let before = plates(&job);
                drop(job);
                edit_by_hand(&folder, edit);
                let read = state(&Job::open(&folder).unwrap());
                job = JobWriter::open(&folder).unwrap();
                // Seen before it was written down as after it, and each take is of the plate it was of.
                prop_assert_eq!(&read, &state(&job));
                prop_assert_eq!(before, plates(&job));
            }
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
        let is_other = matches!(step, Step::Add { .. } | Step::Mark(_) | Step::UndoMark(_) | Step::Undo(_))
            || matches!(step, Step::Count(..) | Step::ValveOff(..) | Step::ValveFitted(_));
        let is_of_plan = matches!(step, Step::RenameRow(_) | Step::Renumber(..) | Step::UndoPlan | Step::ByHand(_));
        let is_correction = !is_other && !is_of_plan;
        if is_correction && take(&mut job, &step) {
            let newest = job.corrections().last().unwrap().n;
            job.undo_correction(Some(newest), true).unwrap();
            prop_assert_eq!(seen(&job), before.0);
        }
    }
}
