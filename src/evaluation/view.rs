//! One pass as it is told of: its readings and what was found in them.

use std::collections::BTreeMap;

use super::moment::moment;
use super::plate::ReedOutcome;
use crate::instrument::{Instrument, ReedPlace, ValvePlace};
use crate::job::{ClockFacts, PassFacts, StoredTake};
use crate::judgement::{self, Findings, PassReadings, ValveFinding};
use crate::repair::TakeMoment;
use crate::tuning::TakeTogether;

/// A pass, listened to and not judged yet.
pub(super) struct ListenedPass {
    pub readings: PassReadings,
    pub takes: BTreeMap<ReedPlace, StoredTake>,
    pub plays: BTreeMap<ReedPlace, StoredTake>,
    pub together: Vec<TakeTogether>,
    pub clips: BTreeMap<ReedPlace, Vec<u8>>,
    pub clocks: Vec<String>,
    pub words: Vec<String>,
}

/// A pass, listened to and judged by itself.
#[derive(Debug)]
pub struct PassView {
    /// What is known of it; `None` where the job has no pass yet.
    pub facts: Option<PassFacts>,
    /// What each reed's take told.
    pub readings: PassReadings,
    /// What was found.
    pub findings: Findings,
    /// The take each reed is judged by; where none gives a reading, the newest.
    pub takes: BTreeMap<ReedPlace, StoredTake>,
    /// The newest play of a sealing test of each reed.
    pub plays: BTreeMap<ReedPlace, StoredTake>,
    /// Which clocks of sound cards were corrected for, in words.
    pub clocks: Vec<String>,
    /// What takes tell in which two ranks sound together on purpose.
    pub together: Vec<TakeTogether>,
    /// Words on takes that were passed over.
    pub words: Vec<String>,
    /// Clips that came of decoding for another reason.
    pub(super) clips: BTreeMap<ReedPlace, Vec<u8>>,
}

impl ListenedPass {
    pub fn add(&mut self, reed: ReedOutcome) {
        let ReedOutcome { place, take, result, further, words, clip } = reed;
        self.words.extend(words);
        if let Some(clip) = clip {
            self.clips.insert(place.clone(), clip);
        }
        if let Some(take) = take {
            self.takes.insert(place.clone(), take);
        }
        let others: Vec<_> = further.into_iter().map(|other| other.reading).collect();
        if !others.is_empty() {
            self.readings.further.insert(place.clone(), others);
        }
        self.readings.readings.insert(place, result.map(|(reading, ..)| reading));
    }
}

impl PassView {
    pub(super) fn new(instrument: &Instrument, facts: PassFacts, pass: ListenedPass) -> Self {
        let ListenedPass { readings, takes, plays, together, clips, clocks, words } = pass;
        let findings = judgement::judge(instrument, &readings);
        Self { facts: Some(facts), readings, findings, takes, plays, together, clocks, words, clips }
    }

    /// What the plan has, before anything was recorded.
    pub(super) fn of_nothing(instrument: &Instrument) -> Self {
        let readings = PassReadings {
            name: "none yet".to_owned(),
            temperature_c: None,
            measured_at: None,
            readings: BTreeMap::new(),
            further: BTreeMap::new(),
            sealings: Vec::new(),
        };
        Self {
            facts: None,
            findings: judgement::judge(instrument, &readings),
            readings,
            takes: BTreeMap::new(),
            plays: BTreeMap::new(),
            together: Vec::new(),
            clocks: Vec::new(),
            words: Vec::new(),
            clips: BTreeMap::new(),
        }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.readings.name
    }

    /// When each take was sounded.
    pub(super) fn moments(&self) -> BTreeMap<ReedPlace, TakeMoment> {
        let Some(facts) = &self.facts else { return BTreeMap::new() };
        self.takes.iter().map(|(reed, take)| (reed.clone(), moment(take, facts))).collect()
    }

    /// When each reed was last sounded in a sealing test.
    pub(super) fn play_moments(&self) -> BTreeMap<ReedPlace, TakeMoment> {
        let Some(facts) = &self.facts else { return BTreeMap::new() };
        self.plays.iter().map(|(reed, take)| (reed.clone(), moment(take, facts))).collect()
    }

    /// What was found of a valve.
    pub fn valve(&self, place: &ValvePlace) -> Option<&ValveFinding> {
        self.findings.valves.iter().find(|valve| valve.place == *place)
    }

    /// Words on its takes, the clocks first.
    pub fn remarks(&self) -> impl Iterator<Item = &String> {
        self.clocks.iter().chain(&self.words)
    }
}

/// How many pitches were corrected for which clock.
pub(super) fn clock_words(pass: &ListenedPass) -> Vec<String> {
    let mut corrections: Vec<(&ClockFacts, usize)> = Vec::new();
    let speak = pass.takes.iter().filter(|(reed, _)| matches!(pass.readings.readings.get(reed), Some(Ok(_))));
    for clock in speak.filter_map(|(_, take)| take.facts.clock.as_ref()) {
        match corrections.iter_mut().find(|(there, _)| *there == clock) {
            Some((_, count)) => *count += 1,
            None => corrections.push((clock, 1)),
        }
    }
    let words = corrections.into_iter().map(|(facts, count)| {
        let figures = facts.figures();
        format!("{count} pitches are corrected for the clock of `{}`: {figures}", facts.device)
    });
    words.collect()
}
