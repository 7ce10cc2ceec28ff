//! In which order the reeds of a block are played when one recording holds them all.

use crate::instrument::{Bellows, Block, Instrument, PlaceError, PlatePlace, ReedPlace, Spot, Stroke};

/// An order of play.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlayOrder {
    /// What it is, in words.
    pub name: String,
    /// Its runs, each played from end to end; what follows is another run, and any run may be played backwards.
    pub runs: Vec<Run>,
}

/// A run: groups of reeds. Played backwards, the groups come in reverse and each group as it is.
pub type Run = Vec<Vec<ReedPlace>>;

/// The orders in which a block is likely to be played, the likeliest first; of every block where none is given.
///
/// Row after row with press and draw in turn; row after row with all press, then all draw; the whole block press, then
/// draw; and across the rows. Draw before press only where the notes can tell, in a bisonoric block.
pub fn likely_orders(instrument: &Instrument, block: Option<&Block>) -> Vec<PlayOrder> {
    let blocks: Vec<&Block> =
        instrument.blocks.iter().filter(|one| block.is_none_or(|block| block.name == one.name)).collect();
    let mut orders: Vec<PlayOrder> = Vec::new();
    let mut add = |name: String, runs: Vec<Run>| {
        let runs: Vec<Run> = runs.into_iter().filter(|run| !run.is_empty()).collect();
        if !runs.is_empty() && !orders.iter().any(|there| there.runs == runs) {
            orders.push(PlayOrder { name, runs });
        }
    };
    let ways: &[[Stroke; 2]] = match instrument.bellows {
        Bellows::Unisonoric => &[[Stroke::Press, Stroke::Draw]],
        Bellows::Bisonoric => &[[Stroke::Press, Stroke::Draw], [Stroke::Draw, Stroke::Press]],
    };
    let one_of = |blocks: &[&Block]| match blocks {
        [only] if instrument.blocks.len() > 1 => format!("block {}: ", only.name),
        _ => String::new(),
    };
    let mut choices: Vec<Vec<&Block>> = vec![blocks.clone()];
    if blocks.len() > 1 {
        choices.extend(blocks.iter().map(|block| vec![*block]));
    }
    for chosen in &choices {
        let head = one_of(chosen);
        for [first, second] in ways {
            let rows: Vec<Vec<Vec<ReedPlace>>> =
                chosen.iter().flat_map(|block| rows(instrument, block, &[*first, *second])).collect();
            add(format!("{head}row after row, {first} and {second} in turn"), rows.clone());
            let one = |row: &Vec<Vec<ReedPlace>>, stroke: Stroke| -> Run {
                row.iter()
                    .flatten()
                    .filter(|reed| reed.stroke == stroke)
                    .map(|reed| vec![reed.clone()])
                    .collect()
            };
            let by_row = rows.iter().flat_map(|row| [one(row, *first), one(row, *second)]).collect();
            add(format!("{head}row after row, all {first}, then all {second}"), by_row);
            let by_block = [*first, *second]
                .iter()
                .flat_map(|stroke| rows.iter().map(|row| one(row, *stroke)))
                .collect();
            add(format!("{head}the whole block {first}, then the whole block {second}"), by_block);
            if rows.len() > 1 {
                let longest = rows.iter().map(Vec::len).max().unwrap_or(0);
                let across: Run = (0..longest)
                    .flat_map(|idx| rows.iter().filter_map(move |row| row.get(idx).cloned()))
                    .collect();
                add(format!("{head}across the rows, {first} and {second} in turn"), vec![across]);
            }
        }
    }
    orders
}

/// The order `text` says: parts with commas between, each a plate, a range or a row, with the strokes in the order they
/// are played: `A1..A12 press draw, B press draw`. A part with two strokes has them in turn plate by plate; with
/// `together` behind it, all of the first and then all of the second; without a stroke, press and draw in turn.
pub fn said_order(text: &str, instrument: &Instrument) -> Result<PlayOrder, PlaceError> {
    let mut runs: Vec<Run> = Vec::new();
    for part in text.split(',').map(str::trim).filter(|part| !part.is_empty()) {
        let mut words: Vec<&str> = part.split_whitespace().collect();
        let mut take_last = |wanted: &[&str]| {
            let is_it = words.last().is_some_and(|last| wanted.contains(&last.to_lowercase().as_str()));
            if is_it { words.pop().map(str::to_lowercase) } else { None }
        };
        let together = take_last(&["together", "turn"]).is_some_and(|word| word == "together");
        take_last(&["in"]);
        let mut strokes: Vec<Stroke> = Vec::new();
        while let Some(word) = take_last(&["press", "draw"]) {
            strokes.insert(0, if word == "press" { Stroke::Press } else { Stroke::Draw });
        }
        if strokes.is_empty() {
            strokes = Stroke::BOTH.to_vec();
        }
        let plates = plates(&words.join(" "), part, instrument)?;
        let reeds = |stroke: Stroke, plate: &PlatePlace| {
            let place = ReedPlace { plate: plate.clone(), stroke };
            instrument.target(&place).map(|_| place)
        };
        if together {
            runs.extend(strokes.iter().map(|stroke| {
                plates.iter().filter_map(|plate| reeds(*stroke, plate)).map(|reed| vec![reed]).collect()
            }));
        } else {
            let group = |plate| strokes.iter().filter_map(|stroke| reeds(*stroke, plate)).collect::<Vec<_>>();
            runs.push(plates.iter().map(group).filter(|group| !group.is_empty()).collect());
        }
    }
    runs.retain(|run| !run.is_empty());
    if runs.is_empty() {
        let text = text.trim().to_owned();
        return Err(PlaceError::Malformed { part: text.clone(), text });
    }
    Ok(PlayOrder { name: text.trim().to_owned(), runs })
}

/// The plates of a part without its strokes: a range, or a row by its name alone.
fn plates(text: &str, part: &str, instrument: &Instrument) -> Result<Vec<PlatePlace>, PlaceError> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let row_named = |block: &Block, name: &str| {
        block.rows.iter().find(|row| row.name.to_lowercase() == name.to_lowercase()).cloned()
    };
    let row = match (words.as_slice(), instrument.blocks.as_slice()) {
        ([name], [only]) => row_named(only, name).map(|row| (only, row)),
        ([block, name], blocks) => blocks
            .iter()
            .find(|one| one.name.to_lowercase() == block.to_lowercase())
            .and_then(|block| row_named(block, name).map(|row| (block, row))),
        _ => None,
    };
    if let Some((block, row)) = row {
        let numbers = (1..).take(row.plates.len());
        return Ok(numbers
            .map(|number| PlatePlace { block: block.name.clone(), row: row.name.clone(), number })
            .collect());
    }
    let spots = instrument.spots(text)?;
    spots
        .into_iter()
        .map(|spot| match spot {
            Spot::Plate(plate) => Ok(plate),
            _ => Err(PlaceError::OtherKind { text: part.to_owned(), wanted: "a plate, a range or a row" }),
        })
        .collect()
}

fn rows(instrument: &Instrument, block: &Block, strokes: &[Stroke; 2]) -> Vec<Run> {
    let mut rows: Vec<Run> = Vec::new();
    for row in &block.rows {
        let mut run: Run = Vec::new();
        for (number, _) in (1..).zip(&row.plates) {
            let plate = PlatePlace { block: block.name.clone(), row: row.name.clone(), number };
            let reeds = strokes.iter().map(|stroke| ReedPlace { plate: plate.clone(), stroke: *stroke });
            let group: Vec<ReedPlace> = reeds.filter(|place| instrument.target(place).is_some()).collect();
            if !group.is_empty() {
                run.push(group);
            }
        }
        rows.push(run);
    }
    rows
}
