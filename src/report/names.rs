//! File names from what people call their blocks.

use std::collections::HashSet;

/// Hands out names that any file system takes, each once.
#[derive(Default)]
pub(crate) struct Names {
    taken: HashSet<String>,
}

/// Longest part of a name that comes from the user, characters.
const LONGEST: usize = 40;

impl Names {
    /// `kind` and `parts` joined by hyphens; a number is added when the name is taken, upper and lower case alike.
    pub(crate) fn take(&mut self, kind: &str, parts: &[&str]) -> String {
        let mut name = kind.to_owned();
        for part in parts {
            name.push('-');
            name.push_str(&safe(part));
        }
        let mut candidate = name.clone();
        for number in 2.. {
            if self.taken.insert(candidate.to_lowercase()) {
                break;
            }
            candidate = format!("{name}-{number}");
        }
        candidate
    }
}

/// Letters, digits, `-` and `_` stay, anything else becomes `_`.
fn safe(part: &str) -> String {
    let kept: String = part
        .chars()
        .take(LONGEST)
        .map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' })
        .collect();
    if kept.is_empty() { "unnamed".to_owned() } else { kept }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_leaves_the_folder_and_none_comes_twice() {
        let mut names = Names::default();
        assert_eq!(names.take("map", &["../../etc"]), "map-______etc");
        assert_eq!(names.take("map", &["Bass"]), "map-Bass");
        assert_eq!(names.take("map", &["bass"]), "map-bass-2");
        assert_eq!(names.take("map", &["żółty"]), "map-___ty");
        assert_eq!(names.take("map", &[""]), "map-unnamed");
    }
}
