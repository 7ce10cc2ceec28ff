//! Charts, block map, tables: draws and never measures; the only room that names plotters.
