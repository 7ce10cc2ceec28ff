//! The tray as a CSV list, out and in.

use std::path::Path;

use super::{Error, Table, TableRow};
use crate::instrument::Material;
use crate::repair::{Condition, Lot, is_bin_name, parse_length, parse_thickness, parse_width};
use crate::units::Millimetres;

const NEEDED: [&str; 2] = ["length", "count"];
const OPTIONAL: [&str; 5] = ["width", "thickness", "material", "condition", "bin"];

/// Lots of a CSV list: `length` and `count`, and where they are there `width`, `thickness`, `material`, `condition`, `bin`.
/// `file` is named in the messages only.
pub fn tray_from_csv(bytes: &[u8], file: &Path) -> Result<Vec<Lot>, Error> {
    let table = Table::parse(bytes, file, &NEEDED, &OPTIONAL)?;
    let mut lots: Vec<Lot> = Vec::new();
    for row in table.rows() {
        let fault = |(wrong, right): (String, String)| Error::List {
            file: file.to_owned(),
            line: row.line,
            wrong,
            right,
        };
        let lot = read_lot(&row).map_err(fault)?;
        if lots.iter().any(|there| there.is_same_kind(&lot)) {
            let wrong = "this kind of valve in this bin is there already".to_owned();
            return Err(fault((wrong, "give each kind once, with its whole count".into())));
        }
        lots.push(lot);
    }
    Ok(lots)
}

/// The lots as a CSV list that [`tray_from_csv`] reads back the same.
pub fn tray_to_csv(lots: &[Lot]) -> String {
    let mut text = String::from("length,count,width,material,condition,bin,thickness\n");
    for lot in lots {
        let size = |size: Option<Millimetres>| size.map_or(String::new(), |size| size.to_string());
        let (width, thickness) = (size(lot.width), size(lot.thickness));
        // Bins are plain names and all else is numbers and known words, so that no cell needs quotes; only `-A1` could
        // be taken for a formula.
        let bin = lot.bin.as_deref().unwrap_or_default();
        let guard = if bin.starts_with('-') && bin.parse::<f64>().is_err() { "'" } else { "" };
        text += &format!(
            "{},{},{width},{},{},{guard}{bin},{thickness}\n",
            lot.length, lot.count, lot.material, lot.condition,
        );
    }
    text
}

fn read_lot(row: &TableRow) -> Result<Lot, (String, String)> {
    let length = |column: &str| {
        parse_length(row.get(column)).map_err(|error| (format!("`{column}`: {error}"), error.next()))
    };
    let count = row.get("count");
    let is_plain = !count.is_empty() && count.bytes().all(|byte| byte.is_ascii_digit());
    let count =
        count.parse::<u32>().ok().filter(|count| is_plain && *count <= 9999).ok_or_else(|| {
            (format!("`{count}` is no count"), "give a whole number from 0 to 9999".to_owned())
        })?;
    let width = match row.get("width") {
        "" => None,
        text => Some(parse_width(text).map_err(|error| (format!("`width`: {error}"), error.next()))?),
    };
    let thickness = match row.get("thickness") {
        "" => None,
        text => Some(parse_thickness(text).map_err(|error| (format!("`thickness`: {error}"), error.next()))?),
    };
    let material = match row.get("material").to_lowercase().as_str() {
        "" => Material::Leather,
        word => Material::named(word).ok_or_else(|| {
            (format!("material `{word}` is not known"), "give `leather` or `plastic`".to_owned())
        })?,
    };
    let condition = match row.get("condition") {
        "" => Condition::Unsaid,
        word => word.parse().map_err(|_| {
            (
                format!("condition `{word}` is not known"),
                "give `flat`, `stained`, `curled` or `scrap`".to_owned(),
            )
        })?,
    };
    let bin = Some(row.get("bin")).filter(|bin| !bin.is_empty());
    if let Some(bin) = bin.filter(|bin| !is_bin_name(bin)) {
        let right = "use up to 20 letters, digits, `_` and `-`".to_owned();
        return Err((format!("`{bin}` cannot name a bin"), right));
    }
    let bin = bin.map(str::to_owned);
    Ok(Lot { length: length("length")?, width, thickness, material, condition, bin, count })
}
