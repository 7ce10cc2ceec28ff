//! Diary, takes, lock: nothing is lost, nothing is overwritten, every oddity is named.

use std::fs;
use std::path::PathBuf;

use platenote::job::{
    DiscrepancyKind, Error, Event, Job, JobWriter, MeasuredIn, NewTake, Oddity, PassChange, Stored, Template,
    verify,
};

fn job() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("a job with spaces, ä");
    Job::create(&folder, &Template::Bass24.to_toml()).unwrap();
    (dir, folder)
}

fn take(job: &Job, pass: &str, place: &str) -> NewTake {
    NewTake {
        pass: pass.into(),
        place: job.instrument().reed_place(place).unwrap(),
        original: Some("take 1.WAV".into()),
        extension: "WAV".into(),
        why: "the test says so".into(),
        lossy: false,
        remarks: vec![],
        clock: None,
        recorded: None,
    }
}

fn stored(outcome: Stored) -> String {
    match outcome {
        Stored::New(take) => take.facts.file,
        other => panic!("stored anew expected: {other:?}"),
    }
}

#[test]
fn takes_are_kept_as_they_came_and_listed_in_the_plans_order() {
    let (dir, folder) = job();
    let original = dir.path().join("take 1.WAV");
    fs::write(&original, b"sound one").unwrap();
    let mut job = JobWriter::open(&folder).unwrap();
    let change = PassChange {
        place: Some(MeasuredIn::Bench),
        temperature_c: Some(19.5),
        date: Some(jiff::civil::date(2026, 4, 30)),
    };
    job.open_pass("before", &change).unwrap();
    job.open_pass("BEFORE", &PassChange::default()).unwrap();
    let new = take(&job, "before", "B2 draw");
    assert_eq!(stored(job.store_file(new, &original).unwrap()), "takes/before/bass-B2-draw-1.wav");
    let new = take(&job, "before", "A7 press");
    assert_eq!(stored(job.store_bytes(new.clone(), b"two").unwrap()), "takes/before/bass-A7-press-1.wav");
    assert_eq!(stored(job.store_bytes(new, b"three").unwrap()), "takes/before/bass-A7-press-2.wav");
    drop(job);
    let job = Job::open(&folder).unwrap();
    let passes = job.passes();
    assert_eq!(passes.len(), 1);
    assert_eq!((passes[0].place, passes[0].temperature_c), (MeasuredIn::Bench, Some(19.5)));
    assert_eq!(passes[0].date, "2026-04-30");
    let takes = job.takes("before");
    let places: Vec<String> = takes.iter().map(|(place, takes)| format!("{place} {}", takes.len())).collect();
    assert_eq!(places, ["bass A7 press 2", "bass B2 draw 1"]);
    assert_eq!(takes[0].1.last().unwrap().facts.n, 2);
    assert_eq!(fs::read(&takes[1].1[0].path).unwrap(), b"sound one");
    assert_eq!(fs::read(&original).unwrap(), b"sound one");
    assert_eq!(takes[1].1[0].facts.original.as_deref(), Some("take 1.WAV"));
    // FIPS 180-4, SHA-256 example of NIST: "abc".
    let mut job = JobWriter::open(&folder).unwrap();
    let new = take(&job, "before", "A1 press");
    let Stored::New(abc) = job.store_bytes(new, b"abc").unwrap() else { panic!() };
    assert_eq!(abc.facts.sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    assert!(!verify(&folder).unwrap().is_wrong());
    assert!(job.pass("after").unwrap_err().to_string().contains("it has `before`"));
}

#[test]
fn the_same_sound_is_stored_once_in_a_pass() {
    let (_dir, folder) = job();
    let mut job = JobWriter::open(&folder).unwrap();
    for pass in ["before", "after"] {
        job.open_pass(pass, &PassChange::default()).unwrap();
        let new = take(&job, pass, "A1 press");
        assert!(matches!(job.store_bytes(new.clone(), b"x").unwrap(), Stored::New(_)));
        assert!(matches!(job.store_bytes(new, b"x").unwrap(), Stored::Again(_)));
        let elsewhere = take(&job, pass, "A2 press");
        let refused = job.store_bytes(elsewhere, b"x").unwrap_err();
        assert!(matches!(&refused, Error::SameSound { place, .. } if place == "bass A1 press"));
    }
    assert_eq!(fs::read_dir(folder.join("takes/before")).unwrap().count(), 1);
}

#[test]
fn a_take_without_its_line_and_a_line_without_its_take_are_made_whole_by_adding_again() {
    let (_dir, folder) = job();
    let mut job = JobWriter::open(&folder).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    // As a crash between the renaming and the diary's line leaves it.
    fs::create_dir_all(folder.join("takes/before")).unwrap();
    fs::write(folder.join("takes/before/bass-A1-press-3.wav"), b"left").unwrap();
    let new = take(&job, "before", "A1 press");
    assert_eq!(stored(job.store_bytes(new.clone(), b"left").unwrap()), "takes/before/bass-A1-press-3.wav");
    // A file of another sound under the next name is never overwritten.
    fs::write(folder.join("takes/before/bass-A1-press-4.wav"), b"foreign").unwrap();
    assert_eq!(stored(job.store_bytes(new.clone(), b"more").unwrap()), "takes/before/bass-A1-press-5.wav");
    assert_eq!(fs::read(folder.join("takes/before/bass-A1-press-4.wav")).unwrap(), b"foreign");
    fs::remove_file(folder.join("takes/before/bass-A1-press-3.wav")).unwrap();
    assert!(matches!(job.store_bytes(new, b"left").unwrap(), Stored::Restored(_)));
    let kinds: Vec<_> = verify(&folder).unwrap().troubles.into_iter().map(|trouble| trouble.kind).collect();
    assert_eq!(kinds, [DiscrepancyKind::Unlisted]);
}

#[test]
fn a_torn_last_line_is_set_aside_and_nothing_before_it_is_lost() {
    let (_dir, folder) = job();
    let mut job = JobWriter::open(&folder).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    let new = take(&job, "before", "A1 press");
    job.store_bytes(new, b"x").unwrap();
    drop(job);
    let diary = folder.join("diary.jsonl");
    let whole = fs::read(&diary).unwrap();
    let last_line = whole.split_inclusive(|&byte| byte == b'\n').next_back().unwrap().len();
    // Cut anywhere in the last line, or padded with zeros as some file systems do.
    let mut torn: Vec<Vec<u8>> =
        (1..last_line - 1).map(|cut| whole[..whole.len() - last_line + cut].to_vec()).collect();
    torn.push([&whole[..whole.len() - last_line + 20], &[0; 30]].concat());
    for bytes in torn {
        fs::write(&diary, &bytes).unwrap();
        let read = Job::open(&folder).unwrap();
        // The plates' numbers, the pass, and the torn line.
        assert_eq!((read.diary().len(), read.odd_lines().len()), (2, 1));
        assert_eq!(read.odd_lines()[0].oddity, Oddity::Torn);
        assert_eq!(fs::read(&diary).unwrap(), bytes, "reading changes nothing");
        let mut job = JobWriter::open(&folder).unwrap();
        let new = take(&job, "before", "A1 press");
        job.store_bytes(new, b"x").unwrap();
        drop(job);
        let again = Job::open(&folder).unwrap();
        assert_eq!((again.diary().len(), again.odd_lines().len()), (3, 0));
        let aside = fs::read(folder.join("diary.torn")).unwrap();
        assert!(aside.ends_with(&[&bytes[whole.len() - last_line..], b"\n"].concat()));
    }
    // A whole last line that only lacks its line end is used, and the next one does not run into it.
    fs::write(&diary, &whole[..whole.len() - 1]).unwrap();
    let mut job = JobWriter::open(&folder).unwrap();
    job.open_pass("after", &PassChange::default()).unwrap();
    assert_eq!(Job::open(&folder).unwrap().diary().len(), 4);
}

#[test]
fn lines_that_cannot_be_used_are_named_and_the_others_are() {
    let (_dir, folder) = job();
    let at = "\"at\":\"2026-04-30T10:00:00Z\"";
    let lines = [
        format!(
            "{{\"format\":1,{at},\"what\":\"pass\",\"pass\":\"before\",\"place\":\"bench\",\"temperature_c\":18,\"date\":\"2026-04-30\"}}"
        ),
        "nonsense".into(),
        format!("{{\"format\":1,{at},\"what\":\"polished\",\"pass\":3}}"),
        String::new(),
        format!(
            "{{\"format\":1,{at},\"what\":\"take\",\"pass\":\"before\",\"place\":\"bass A1 press\",\"file\":\"../../x\",\"n\":1,\"sha256\":\"\",\"bytes\":1,\"why\":\"\"}}"
        ),
        format!("{{\"format\":1,{at},\"what\":\"pass\"}}"),
        "{\"format\":1,\"at\":\"yesterday\",\"what\":\"pass\"}".into(),
    ];
    fs::write(folder.join("diary.jsonl"), lines.join("\n") + "\n").unwrap();
    let job = Job::open(&folder).unwrap();
    assert!(matches!(&job.diary()[0].event, Event::Pass(pass) if pass.pass == "before"));
    let odd: Vec<usize> = job.odd_lines().iter().map(|odd| odd.line).collect();
    assert_eq!(odd, [2, 3, 5, 6, 7]);
    assert_eq!(job.odd_lines()[1].oddity, Oddity::Unknown("polished".into()));
    let found = verify(&folder).unwrap();
    assert_eq!(found.troubles.iter().filter(|trouble| trouble.kind.is_wrong()).count(), 4);
}

#[test]
fn a_newer_diary_is_refused_by_number_and_left_as_it_was() {
    let (_dir, folder) = job();
    let text = "{\"format\":2,\"at\":\"2030-01-01T00:00:00Z\",\"what\":\"pass\"}\nhalf a li";
    fs::write(folder.join("diary.jsonl"), text).unwrap();
    for error in
        [Job::open(&folder).unwrap_err(), JobWriter::open(&folder).unwrap_err(), verify(&folder).unwrap_err()]
    {
        assert!(
            error
                .to_string()
                .ends_with("diary.jsonl` line 1 has format 2 and this program knows formats up to 1")
        );
    }
    assert_eq!(fs::read_to_string(folder.join("diary.jsonl")).unwrap(), text);
    let mut names: Vec<_> = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["diary.jsonl", "plan.toml", "takes"]);
}

#[test]
fn one_writer_at_a_time_and_readers_any_time() {
    let (_dir, folder) = job();
    let first = JobWriter::open(&folder).unwrap();
    assert!(Job::open(&folder).is_ok());
    assert!(matches!(JobWriter::open(&folder).unwrap_err(), Error::Busy { .. }));
    // The second waits for a first that is soon done.
    let waiting = std::thread::spawn({
        let folder = folder.clone();
        move || JobWriter::open(&folder).map(|_| ())
    });
    std::thread::sleep(std::time::Duration::from_millis(200));
    drop(first);
    waiting.join().unwrap().unwrap();
}

#[cfg(unix)]
#[test]
fn what_is_no_plain_file_is_no_take() {
    let (dir, folder) = job();
    let mut job = JobWriter::open(&folder).unwrap();
    job.open_pass("before", &PassChange::default()).unwrap();
    let new = take(&job, "before", "A1 press");
    assert!(matches!(job.store_file(new, dir.path()).unwrap_err(), Error::NotAFile { .. }));
    // A link out of the job under a take's name is seen as altered, not followed into the record.
    let new = take(&job, "before", "A1 press");
    let Stored::New(stored) = job.store_bytes(new, b"x").unwrap() else { panic!() };
    fs::remove_file(&stored.path).unwrap();
    std::os::unix::fs::symlink(folder.join("plan.toml"), &stored.path).unwrap();
    assert_eq!(verify(&folder).unwrap().troubles[0].kind, DiscrepancyKind::Altered);
}
