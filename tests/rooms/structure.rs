//! How the files of `src` hang together, counted from their own `use` lines and paths: no two files need each other, and
//! no room needs one above it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A module path below the crate, such as `["analysis", "tail"]`.
type ModulePath = Vec<String>;

/// One file of `src`.
#[derive(Default)]
struct Source {
    /// Relative to `src`.
    file: String,
    /// Names brought in by `use`, with the full path each stands for, and whether the line is a `pub use`.
    names: Vec<(String, ModulePath, bool)>,
    /// Paths met in the code outside of `use` lines.
    paths: Vec<ModulePath>,
}

/// All modules that have a file of their own.
struct House {
    modules: BTreeMap<ModulePath, Source>,
}

impl House {
    fn read() -> Self {
        let mut house = Self { modules: BTreeMap::new() };
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        house.add(&root, &root.join("lib.rs"), Vec::new());
        house
    }

    /// Read a module and everything it declares.
    fn add(&mut self, root: &Path, file: &Path, module: ModulePath) {
        let text = fs::read_to_string(file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
        let code = code_of(&text);
        for (child, beside) in declared(&code) {
            let mut path = module.clone();
            path.push(child.clone());
            let file = file_of(file, &child, beside.as_deref());
            self.add(root, &file, path);
        }
        let relative = file.strip_prefix(root).map(|path| path.display().to_string());
        let mut source =
            Source { file: relative.unwrap_or_default().replace('\\', "/"), ..Source::default() };
        let words = words(&code);
        // The module at hand, with the modules written out within the file and the depth each began at.
        let (mut here, mut within, mut depth) = (module.clone(), Vec::new(), 0);
        let mut at = 0;
        while at < words.len() {
            match words[at].as_str() {
                "{" => depth += 1,
                "}" => {
                    depth -= 1;
                    if within.last() == Some(&depth) {
                        within.pop();
                        here.pop();
                    }
                }
                "mod" if words.get(at + 2).is_some_and(|next| next == "{") => {
                    here.push(words[at + 1].clone());
                    within.push(depth);
                }
                _ => {}
            }
            if words[at] == "use" {
                let end = at + words[at..].iter().position(|word| word == ";").unwrap_or(0);
                let is_public = at > 0 && (words[at - 1] == "pub" || words[at - 1] == ")");
                let mut found = Vec::new();
                tree(&words[at + 1..end], &mut 0, &[], &mut found);
                for (name, path) in found {
                    if let Some(path) = absolute(&here, &path) {
                        source.names.push((name, path, is_public));
                    }
                }
                at = end + 1;
                continue;
            }
            let is_start = at == 0 || words[at - 1] != "::";
            if is_start && words.get(at + 1).is_some_and(|next| next == "::") {
                let mut path = vec![words[at].clone()];
                let mut end = at + 1;
                while words.get(end).is_some_and(|word| word == "::")
                    && words.get(end + 1).is_some_and(|word| is_name(word))
                {
                    path.push(words[end + 1].clone());
                    end += 2;
                }
                if !within.is_empty() && ["super", "self"].contains(&path[0].as_str()) {
                    let full = absolute(&here, &path).unwrap_or_default();
                    path = std::iter::once("crate".to_owned()).chain(full).collect();
                }
                source.paths.push(path);
                at = end;
                continue;
            }
            at += 1;
        }
        self.modules.insert(module, source);
    }

    /// The module in whose file the item of a path is written, followed through what other files hand on.
    fn home(&self, path: &[String], depth: usize) -> Option<ModulePath> {
        // No name is handed on so often: it would lead in a circle of its own.
        if depth > 12 {
            return None;
        }
        let mut module: ModulePath = Vec::new();
        for (idx, name) in path.iter().enumerate() {
            let mut child = module.clone();
            child.push(name.clone());
            if self.modules.contains_key(&child) {
                module = child;
                continue;
            }
            let source = self.modules.get(&module)?;
            if let Some((_, full, _)) =
                source.names.iter().find(|(known, full, _)| known == name && full != path)
            {
                let rest = full.iter().chain(&path[idx + 1..]).cloned().collect::<Vec<_>>();
                return self.home(&rest, depth + 1);
            }
            return Some(module);
        }
        Some(module)
    }

    /// File to file, with the names that are needed; what a room's door only hands on is no arrow.
    fn arrows(&self) -> BTreeMap<&str, BTreeMap<&str, BTreeSet<String>>> {
        let mut arrows: BTreeMap<&str, BTreeMap<&str, BTreeSet<String>>> = BTreeMap::new();
        for (module, source) in &self.modules {
            let is_door = source.file.ends_with("mod.rs") || source.file == "lib.rs";
            let brought = source.names.iter().filter(|(_, _, is_public)| !(is_door && *is_public));
            let mut needed: Vec<ModulePath> = brought.map(|(_, path, _)| path.clone()).collect();
            needed.extend(source.paths.iter().filter_map(|path| self.within(module, source, path)));
            // A module brought in by its name alone is met again where something of it is used.
            for path in needed.into_iter().filter(|path| !self.modules.contains_key(path)) {
                let Some(home) = self.home(&path, 0).and_then(|home| self.modules.get(&home)) else {
                    continue;
                };
                if home.file != source.file && home.file != "lib.rs" {
                    let names = arrows.entry(&source.file).or_default().entry(&home.file).or_default();
                    names.insert(path.last().cloned().unwrap_or_default());
                }
            }
        }
        arrows
    }

    /// A path as written in a file, from the crate down; `None` for one that leads out of the crate.
    fn within(&self, module: &[String], source: &Source, path: &[String]) -> Option<ModulePath> {
        let first = path.first()?;
        if ["crate", "super", "self"].contains(&first.as_str()) {
            return absolute(module, path);
        }
        let mut child = module.to_vec();
        child.push(first.clone());
        if self.modules.contains_key(&child) {
            child.extend_from_slice(&path[1..]);
            return Some(child);
        }
        let (_, full, _) = source.names.iter().find(|(name, _, _)| name == first)?;
        Some(full.iter().chain(&path[1..]).cloned().collect())
    }
}

/// Without comments, texts and the unit tests at a file's end.
fn code_of(text: &str) -> String {
    let mut code = String::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        if rest.starts_with("//") {
            rest = rest.find('\n').map_or("", |end| &rest[end..]);
        } else if rest.starts_with("r\"")
            || rest.starts_with("r#") && rest[1..].trim_start_matches('#').starts_with('"')
        {
            let hashes = rest[1..].bytes().take_while(|byte| *byte == b'#').count();
            let close = format!("\"{}", "#".repeat(hashes));
            let body = &rest[2 + hashes..];
            rest = body.find(&close).map_or("", |end| &body[end + close.len()..]);
        } else if first == '"' {
            let mut end = 1;
            let bytes = rest.as_bytes();
            while end < bytes.len() && bytes[end] != b'"' {
                end += if bytes[end] == b'\\' { 2 } else { 1 };
            }
            // The text is kept where it names a module's file.
            if code.trim_end().ends_with("#[path =") {
                code.push_str(&rest[..=end]);
            }
            rest = rest.get(end + 1..).unwrap_or_default();
        } else if rest.starts_with("'\"'") {
            rest = &rest[3..];
        } else if rest.starts_with("#[cfg(test)]") {
            let body = rest.find(['{', ';']).unwrap_or(rest.len());
            if rest[body..].starts_with(';') {
                rest = &rest[body + 1..];
            } else {
                // Formatted code: the block ends at the first closing brace of its own indent.
                let line = text[..text.len() - rest.len()].rsplit('\n').next().unwrap_or_default();
                let close = format!("\n{line}}}");
                rest = rest.find(&close).map_or("", |end| &rest[end + close.len()..]);
            }
        } else {
            code.push(first);
            rest = &rest[first.len_utf8()..];
        }
    }
    code
}

/// The modules a file declares, with the file each is said to lie in.
fn declared(code: &str) -> Vec<(String, Option<String>)> {
    let mut beside = None;
    let mut found: Vec<(String, Option<String>)> = Vec::new();
    for line in code.lines().map(str::trim) {
        if let Some(path) = line.strip_prefix("#[path = \"") {
            beside = path.split('"').next().map(str::to_owned);
        }
        let bare = line.trim_start_matches("pub(crate) ").trim_start_matches("pub(super) ");
        let bare = bare.trim_start_matches("pub ");
        if let Some(name) = bare.strip_prefix("mod ").and_then(|rest| rest.strip_suffix(';')) {
            let name = name.trim().to_owned();
            if !found.iter().any(|(known, _)| *known == name) {
                found.push((name, beside.take()));
            }
        }
    }
    found
}

fn file_of(parent: &Path, child: &str, beside: Option<&str>) -> PathBuf {
    let folder = parent.parent().unwrap_or(Path::new(""));
    if let Some(beside) = beside {
        return folder.join(beside);
    }
    let stem = parent.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    let folder = if ["mod", "lib"].contains(&stem) { folder.to_owned() } else { folder.join(stem) };
    let flat = folder.join(format!("{child}.rs"));
    if flat.exists() { flat } else { folder.join(child).join("mod.rs") }
}

fn is_name(word: &str) -> bool {
    word.starts_with(|first: char| first.is_alphabetic() || first == '_')
}

/// Names, `::` and single signs.
fn words(code: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut rest = code.trim_start();
    while let Some(first) = rest.chars().next() {
        let len = if first.is_alphanumeric() || first == '_' {
            rest.find(|sign: char| !sign.is_alphanumeric() && sign != '_').unwrap_or(rest.len())
        } else if rest.starts_with("::") {
            2
        } else {
            first.len_utf8()
        };
        words.push(rest[..len].to_owned());
        rest = rest[len..].trim_start();
    }
    words
}

/// A `use` tree as pairs of the name it gives and the path it stands for.
fn tree(words: &[String], at: &mut usize, before: &[String], found: &mut Vec<(String, ModulePath)>) {
    let mut path = before.to_vec();
    let mut alias = None;
    while let Some(word) = words.get(*at) {
        *at += 1;
        match word.as_str() {
            "{" => {
                while words.get(*at).is_some_and(|word| word != "}") {
                    tree(words, at, &path, found);
                }
                *at += 1;
                if words.get(*at).is_some_and(|word| word == ",") {
                    *at += 1;
                }
                return;
            }
            "}" => {
                *at -= 1;
                break;
            }
            "," => break,
            "::" => {}
            "as" => {
                alias = words.get(*at).cloned();
                *at += 1;
            }
            // `use super::x::{self}` brings in `x`.
            "self" if !path.is_empty() => {}
            _ => path.push(word.clone()),
        }
    }
    if let Some(last) = path.last() {
        found.push((alias.unwrap_or_else(|| last.clone()), path));
    }
}

/// From the crate down; `None` where it leads out of the crate.
fn absolute(module: &[String], path: &[String]) -> Option<ModulePath> {
    let mut from = module.to_vec();
    let mut rest = path;
    match path.first()?.as_str() {
        "crate" | "platenote" => {
            from.clear();
            rest = &rest[1..];
        }
        "self" => rest = &rest[1..],
        "super" => {
            while rest.first().is_some_and(|name| name == "super") {
                from.pop();
                rest = &rest[1..];
            }
        }
        // `pub use child::Name` in a room's door; anything else is another crate, which is found in no module.
        _ => {}
    }
    from.extend_from_slice(rest);
    Some(from)
}

/// Groups of files that need each other.
fn circles<'a>(arrows: &BTreeMap<&'a str, BTreeMap<&'a str, BTreeSet<String>>>) -> Vec<BTreeSet<&'a str>> {
    let reach = |from: &'a str| {
        let mut seen: BTreeSet<&'a str> = BTreeSet::new();
        let mut open: Vec<&'a str> = vec![from];
        while let Some(file) = open.pop() {
            for next in arrows.get(file).into_iter().flat_map(|to| to.keys().copied()) {
                if seen.insert(next) {
                    open.push(next);
                }
            }
        }
        seen
    };
    let reached: BTreeMap<&str, BTreeSet<&str>> = arrows.keys().map(|file| (*file, reach(file))).collect();
    let mut found: BTreeSet<BTreeSet<&str>> = BTreeSet::new();
    for (file, to) in &reached {
        if to.contains(file) {
            let back = |other: &&&str| reached.get(**other).is_some_and(|back| back.contains(file));
            found.insert(to.iter().filter(back).copied().collect());
        }
    }
    found.into_iter().collect()
}

/// Rooms in which circles still stand; to be emptied, never added to.
const NOT_YET: [&str; 2] = ["analysis/", "judgement/"];

#[test]
fn no_two_files_need_each_other() {
    let house = House::read();
    let arrows = house.arrows();
    let mut told = String::new();
    for circle in circles(&arrows) {
        if NOT_YET.iter().any(|room| circle.iter().all(|file| file.starts_with(room))) {
            continue;
        }
        told += "\na circle:\n";
        for from in &circle {
            for (to, names) in arrows.get(from).into_iter().flatten().filter(|(to, _)| circle.contains(*to)) {
                let names: Vec<&str> = names.iter().map(String::as_str).collect();
                told += &format!("  {from} needs {} of {to}\n", names.join(", "));
            }
        }
    }
    assert!(told.is_empty(), "what two files need lies in a third, below both:{told}");
}

/// The order of the rooms is the table's in DEVELOPERS.md: "an arrow may only point downwards in this list".
#[test]
fn arrows_between_rooms_point_down() {
    let guide =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md")).expect("the guide");
    let rooms: Vec<&str> = guide
        .lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .flat_map(|line| line.split('|').next().unwrap_or_default().split('`'))
        .filter(|name| name.ends_with('/') || name.ends_with(".rs"))
        .collect();
    let floor = |file: &str| {
        let room = file.split_once('/').map_or(file.to_owned(), |(room, _)| format!("{room}/"));
        rooms.iter().position(|known| *known == room)
    };
    let house = House::read();
    let mut told = String::new();
    for (from, to) in house.arrows() {
        for (to, names) in to {
            let (Some(above), Some(below)) = (floor(from), floor(to)) else {
                told += &format!("\n{from} or {to} is in no room of the table");
                continue;
            };
            // The last line of the table holds two files of one floor.
            if above > below {
                told += &format!("\n{from} needs {names:?} of {to}, which lies above it");
            }
        }
    }
    assert!(rooms.len() > 15, "the table of rooms was read: {rooms:?}");
    assert!(told.is_empty(), "{told}");
}

/// The counting itself: it sees through what a door hands on, braces, `self` and paths in the code.
#[test]
fn paths_are_followed_home() {
    let mut modules = BTreeMap::new();
    let mut add = |path: &[&str], file: &str, code: &str| {
        let module: ModulePath = path.iter().map(|name| (*name).to_owned()).collect();
        let words = words(&code_of(code));
        let mut names = Vec::new();
        for at in (0..words.len()).filter(|at| words[*at] == "use") {
            let end = at + words[at..].iter().position(|word| word == ";").expect("an end");
            let mut found = Vec::new();
            tree(&words[at + 1..end], &mut 0, &[], &mut found);
            let is_public = at > 0 && words[at - 1] == "pub";
            names.extend(
                found
                    .into_iter()
                    .filter_map(|(name, path)| Some((name, absolute(&module, &path)?, is_public))),
            );
        }
        modules.insert(module, Source { file: file.to_owned(), names, paths: Vec::new() });
    };
    add(&[], "lib.rs", "");
    add(&["room"], "room/mod.rs", "mod one; mod two; pub use one::One; pub use two::{Two, self as second};");
    add(&["room", "one"], "room/one.rs", "use super::{Two, one}; // use crate::room::Three;\n");
    add(
        &["room", "two"],
        "room/two.rs",
        "use crate::room::One; #[cfg(test)]\nmod tests {\n    use super::x;\n}\n",
    );
    let house = House { modules };
    let arrows = house.arrows();
    assert!(arrows["room/one.rs"].contains_key("room/two.rs"), "{arrows:?}");
    assert!(arrows["room/two.rs"].contains_key("room/one.rs"), "{arrows:?}");
    assert!(!arrows.contains_key("room/mod.rs"), "a door only hands on: {arrows:?}");
    assert_eq!(circles(&arrows), [BTreeSet::from(["room/one.rs", "room/two.rs"])]);
}
