//! The job folder: plan, diary, takes; the only room that reads or writes it.
