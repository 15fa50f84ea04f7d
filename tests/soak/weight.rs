//! What this process weighs, so that growth shows, and the numbers it is asked with.

/// Threads, handles and memory (kB) of this process; nothing where the system does not tell.
pub fn weight() -> Option<(usize, usize, u64)> {
    let count = |name: &str| Some(std::fs::read_dir(name).ok()?.count());
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let rss = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let rss = rss.trim().trim_end_matches(" kB").trim().parse().ok()?;
    Some((count("/proc/self/task")?, count("/proc/self/fd")?, rss))
}

/// A number from the environment, or the usual one.
pub fn number<T: std::str::FromStr>(name: &str, usual: T) -> T {
    let text = std::env::var(name).ok();
    text.and_then(|text| text.parse().ok()).unwrap_or(usual)
}
