//! Everything that is told of a job, for any choice of passes: the one door for terminal, page, report and JSON.

use super::detail::Detail;
use super::listening::{Listened, WantedPass, listen};
use super::pitch::instrument_pitch;
use super::{EvaluationError, PassView};
use crate::instrument::{Instrument, PlatePlace, ReedPlace};
use crate::job::{Job, Visit};
use crate::judgement::{self, Comparison, Findings, JudgedPass, Missing, ReedFinding, ValveFinding, Verdict};
use crate::repair::{
    self, InstrumentPitch, NextStep, OutOfOrder, PassEvidence, Standing, ValveVerdict, WorkList,
};
use crate::report::{self, Earlier, PageDrawing, ReedCloseUp, Subject};

/// Which passes are shown.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PassChoice {
    /// The earlier one, to compare with.
    pub earlier: Option<String>,
    /// The one that is told of; without any, what the plan has.
    pub later: Option<String>,
    /// Whether it is looked at alone: then nothing of other passes is told as holding now.
    pub is_alone: bool,
}

/// Everything that is told of a job.
#[derive(Debug)]
pub struct Evaluation {
    /// The pass that is told of.
    pub later: PassView,
    /// The pass it is held against.
    pub earlier: Option<PassView>,
    /// What has changed between the two.
    pub comparison: Option<Comparison>,
    /// Reeds to look at closely.
    pub close_ups: Vec<ReedCloseUp>,
    /// What holds now, from all passes and notes.
    pub standing: Standing,
    /// What is told as open: the standing, or what the shown pass tells by itself where it is looked at alone.
    pub told: Standing,
    /// The valves of that, as the map shows them.
    valves_now: Vec<ValveFinding>,
    reeds_now: Vec<ReedFinding>,
    /// Whether the pass is looked at alone.
    pub is_alone: bool,
    /// The visit that is told of.
    pub visit: Visit,
    /// Where A4 stood in each pass of that visit, in their order.
    pub pitches: Vec<InstrumentPitch>,
    /// Words on the kept readings.
    pub words: Vec<String>,
}

impl PassChoice {
    /// The pass of that name, or the newest one, against the one before it.
    pub fn with_the_one_before(job: &Job, wanted: Option<&str>) -> Result<Self, EvaluationError> {
        let mut passes: Vec<String> = job.passes().into_iter().map(|facts| facts.pass).collect();
        if let Some(wanted) = wanted.filter(|wanted| !wanted.is_empty()) {
            let wanted = job.pass(wanted)?.pass;
            let at = passes.iter().position(|pass| *pass == wanted);
            passes.truncate(at.map_or(passes.len(), |at| at + 1));
        }
        let later = passes.pop();
        // A comparison belongs to a visit: what was done before it is no work of this one.
        let own = job.visit_of(later.as_deref()).passes;
        let is_own = |pass: &String| own.contains(pass);
        let earlier = passes.pop().filter(|earlier| is_own(earlier) && later.as_ref().is_some_and(is_own));
        Ok(Self { earlier, later, is_alone: false })
    }

    /// The passes by their names as the record has them, the earlier first.
    fn canonical(&self, job: &Job) -> Result<Vec<String>, EvaluationError> {
        self.earlier.iter().chain(&self.later).map(|name| Ok(job.pass(name)?.pass)).collect()
    }

    /// One pass alone.
    pub fn alone(pass: &str) -> Self {
        Self { earlier: None, later: Some(pass.to_owned()), is_alone: true }
    }

    /// Two passes.
    pub fn of_two(earlier: &str, later: &str) -> Self {
        Self { earlier: Some(earlier.to_owned()), later: Some(later.to_owned()), is_alone: false }
    }
}

impl Detail {
    pub(super) fn close_ups(self) -> bool {
        matches!(self, Detail::Drawings | Detail::Report)
    }

    pub(super) fn clips(self) -> bool {
        self == Detail::Report
    }
}

impl Evaluation {
    /// Listen, judge and compare. Each take is decoded and analysed once at the most.
    ///
    /// `after_plate` is called once for each plate of the plan, from any thread.
    pub fn of(
        job: &Job,
        choice: &PassChoice,
        detail: Detail,
        after_plate: &(dyn Fn() + Sync),
    ) -> Result<Self, EvaluationError> {
        let chosen = choice.canonical(job)?;
        let is_shown = |name: &String| chosen.iter().any(|shown| shown == name);
        let wanted: Vec<WantedPass> = job
            .passes()
            .into_iter()
            .map(|facts| WantedPass { is_shown: is_shown(&facts.pass), facts })
            .collect();
        let Listened { passes, close_ups, words } = listen(job, &wanted, detail, after_plate)?;
        let instrument = job.instrument();
        let judge = |(pass, wanted): (_, WantedPass)| PassView::new(instrument, wanted.facts, pass);
        let mut views: Vec<PassView> = passes.into_iter().zip(wanted).map(judge).collect();
        let standing = standing_of(job, &views);
        let visit = job.visit_of(choice.later.as_deref());
        let own = views.iter().filter(|view| visit.passes.iter().any(|pass| pass == view.name()));
        let pitches = own.filter_map(|view| instrument_pitch(instrument, view)).collect();
        let mut take = |name: &String| {
            let at = views.iter().position(|view| view.name() == name)?;
            Some(views.swap_remove(at))
        };
        let mut shown: Vec<PassView> = chosen.iter().filter_map(&mut take).collect();
        let later = shown.pop().unwrap_or_else(|| PassView::of_nothing(instrument));
        let earlier = shown.pop();
        let told = match choice.is_alone {
            true => standing_of(job, std::slice::from_ref(&later)),
            false => standing.clone(),
        };
        let comparison = earlier.as_ref().map(|earlier| {
            let worked = super::worked_between(job, earlier.name(), later.name());
            judgement::compare_worked(instrument, earlier.judged(), later.judged(), &worked)
        });
        let mut whole = Self {
            earlier,
            comparison,
            close_ups: Vec::new(),
            standing,
            valves_now: later.findings.valves.iter().map(|found| as_it_stands(&told, found)).collect(),
            reeds_now: later.findings.reeds.iter().map(|found| reed_as_it_stands(&told, found)).collect(),
            told,
            is_alone: choice.is_alone,
            later,
            visit,
            pitches,
            words,
        };
        let shows_leak = |reed: &ReedCloseUp| whole.shows_leak(instrument, &reed.reed);
        let close_ups = close_ups.into_iter().filter(shows_leak).collect();
        whole.close_ups = close_ups;
        Ok(whole)
    }

    /// The passes that are told of, the earlier first.
    pub fn shown(&self) -> impl Iterator<Item = &PassView> {
        self.earlier.iter().chain([&self.later])
    }

    /// What is to be drawn; fails where the plan has no plates.
    pub fn subject<'a>(&'a self, job: &'a Job) -> Result<Subject<'a>, EvaluationError> {
        if job.instrument().plates().next().is_none() {
            return Err(EvaluationError::NoPlates { plan: job.folder().join("plan.toml") });
        }
        Ok(self.any_subject(job))
    }

    fn any_subject<'a>(&'a self, job: &'a Job) -> Subject<'a> {
        let comparison = self.comparison.as_ref();
        let earlier = self.earlier.as_ref();
        Subject {
            title: job.title(),
            instrument: job.instrument(),
            findings: &self.later.findings,
            earlier: earlier.map(|view| Earlier { findings: &view.findings, comparison }),
            close_ups: &self.close_ups,
            valves_now: (!self.is_alone).then_some(&self.valves_now),
            reeds_now: (!self.is_alone).then_some(&self.reeds_now),
        }
    }

    /// Every drawing as it stands in a page; `lead` gives a plate's address and its words.
    pub fn page_drawings(
        &self,
        job: &Job,
        lead: &(dyn Fn(&PlatePlace) -> (String, String) + Sync),
    ) -> Result<Vec<PageDrawing>, EvaluationError> {
        Ok(report::page_drawings(&self.any_subject(job), lead)?)
    }

    /// The valves as the map shows them: what holds, or what the pass says that is looked at alone.
    pub fn map_valves(&self) -> &[ValveFinding] {
        if self.is_alone { &self.later.findings.valves } else { &self.valves_now }
    }

    /// The valve work the standing asks for.
    pub fn work_list(&self, job: &Job) -> WorkList {
        repair::work_list(job.instrument(), job.valve_rule(), &job.bench(), &self.told)
    }

    /// Everything that is open, in the order it is best done.
    pub fn next_list(&self, job: &Job) -> Vec<NextStep> {
        repair::next_list(&self.told, &self.work_list(job))
    }

    /// What was done before what it rests on, and hides something now.
    pub fn out_of_order(&self, job: &Job) -> Vec<OutOfOrder> {
        repair::out_of_order(job.instrument(), &self.told)
    }

    /// Words on the takes and on the kept readings.
    pub fn remarks(&self) -> impl Iterator<Item = &String> {
        self.words.iter().chain(self.shown().flat_map(PassView::remarks))
    }

    /// Whether a take of the pass that is told of cannot be read.
    pub fn has_unreadable(&self) -> bool {
        self.later.readings.readings.values().any(|reading| matches!(reading, Err(Missing::Unreadable(_))))
    }

    /// Whether the reed is heard past a valve that leaks or is suspect, in one of the passes.
    fn shows_leak(&self, instrument: &Instrument, reed: &ReedPlace) -> bool {
        let Some((tested, _)) = instrument.valve_tested_by(reed) else { return false };
        let points_at_leak = |found: &Findings| {
            let verdict = found.valves.iter().find(|valve| valve.place == tested).map(|valve| valve.verdict);
            matches!(verdict, Some(Verdict::Leaks | Verdict::Suspect))
        };
        self.shown().any(|view| points_at_leak(&view.findings))
    }
}

/// A reed as the tuning chart shows it: its newest good take, of whichever pass.
fn reed_as_it_stands(standing: &Standing, found: &ReedFinding) -> ReedFinding {
    match standing.reed(&found.place).and_then(|reed| reed.evidence.as_ref()) {
        Some(told) => ReedFinding { pitch: Ok(told.pitch), ..found.clone() },
        None => found.clone(),
    }
}

/// A valve as the map shows it: what holds, in the words of a finding. What was changed and not heard since is not judged.
fn as_it_stands(standing: &Standing, found: &ValveFinding) -> ValveFinding {
    let Some(valve) = standing.valve(&found.place) else { return found.clone() };
    let not_judged = match found.verdict {
        untold @ Verdict::NotJudged { .. } => untold,
        _ => Verdict::NotJudged { cause: None, needs: None },
    };
    let verdict = match valve.state {
        ValveVerdict::Leaks => Verdict::Leaks,
        ValveVerdict::Suspect => Verdict::Suspect,
        ValveVerdict::NoSign => Verdict::NoSign,
        ValveVerdict::Tight => Verdict::Tight,
        ValveVerdict::NoValve => Verdict::NoValve,
        ValveVerdict::Changed | ValveVerdict::Off | ValveVerdict::NotJudged | ValveVerdict::NotRecorded => {
            not_judged
        }
    };
    let signs =
        valve.evidence.iter().filter(|_| !valve.is_evidence_historic()).flat_map(|told| told.signs.clone());
    ValveFinding { verdict, signs: signs.collect(), reason: valve.reason(), ..found.clone() }
}

/// What holds by these passes and by everything that was noted.
fn standing_of(job: &Job, views: &[PassView]) -> Standing {
    let heard: Vec<&PassView> = views.iter().filter(|view| view.facts.is_some()).collect();
    let moments: Vec<_> = heard.iter().map(|view| (view.moments(), view.play_moments())).collect();
    let passes: Vec<PassEvidence> = heard
        .iter()
        .zip(&moments)
        .map(|(view, (takes, plays))| PassEvidence { findings: &view.findings, takes, plays })
        .collect();
    Standing::of(job.instrument(), job.valve_rule(), &job.happenings(), &passes)
}

impl PassView {
    fn judged(&self) -> JudgedPass<'_> {
        JudgedPass { readings: &self.readings, findings: &self.findings }
    }
}
