//! Text that a terminal takes for nothing but text.

/// Names and titles come from others: a terminal must not take them for commands.
pub(crate) fn plain(text: &str) -> String {
    let is_odd = |letter: char| letter.is_control() && !matches!(letter, '\n' | '\t');
    text.replace(is_odd, "\u{FFFD}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_printed_is_a_command_to_the_terminal() {
        assert_eq!(plain("A\u{1b}[2J\r\u{9b}31m ä\tb\nc"), "A\u{FFFD}[2J\u{FFFD}\u{FFFD}31m ä\tb\nc");
    }
}
