//! Reads a page as a strict reader would: every element closed, every address within the page. For
//! the tests of reports.

/// What a page holds.
#[derive(Debug, Default)]
pub struct Page {
    /// Names of the elements, in order of their opening.
    pub elements: Vec<String>,
    /// Attributes, in order: element, name, value as written.
    pub attributes: Vec<(String, String, String)>,
    /// All words outside of elements, references resolved.
    pub text: String,
}

impl Page {
    /// Reads a page.
    ///
    /// # Errors
    /// A sentence on the first thing that is not as it must be.
    pub fn read(html: &str) -> Result<Self, String> {
        let mut page = Self::default();
        let mut open: Vec<String> = Vec::new();
        let mut rest = html
            .strip_prefix("<!DOCTYPE html>")
            .ok_or("does not begin as a page")?;
        while let Some(at) = rest.find('<') {
            page.take_text(&rest[..at])?;
            let end = rest[at..].find('>').ok_or("an element is not ended")? + at;
            let inner = &rest[at + 1..end];
            rest = &rest[end + 1..];
            if let Some(name) = inner.strip_prefix('/') {
                let last = open.pop();
                if last.as_deref() != Some(name) {
                    return Err(format!("</{name}> closes {last:?}"));
                }
                continue;
            }
            let closed = inner.ends_with('/');
            let inner = inner.trim_end_matches('/');
            let (name, attributes) = inner.split_once(' ').unwrap_or((inner, ""));
            page.take_attributes(name, attributes)?;
            page.elements.push(name.to_owned());
            if name == "style" {
                let end = rest.find("</style>").ok_or("the style is not ended")?;
                if rest[..end].contains('<') {
                    return Err("markup in the style".to_owned());
                }
                rest = &rest[end..];
            }
            if !closed {
                open.push(name.to_owned());
            }
        }
        page.take_text(rest)?;
        if open.is_empty() {
            Ok(page)
        } else {
            Err(format!("left open: {open:?}"))
        }
    }

    fn take_attributes(&mut self, element: &str, attributes: &str) -> Result<(), String> {
        let mut rest = attributes.trim();
        while !rest.is_empty() {
            let (name, after) = rest
                .split_once("=\"")
                .ok_or_else(|| format!("in <{element}>: {rest}"))?;
            let (value, after) = after
                .split_once('"')
                .ok_or_else(|| format!("in <{element}>: {after}"))?;
            if !name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') {
                return Err(format!("in <{element}>: an attribute named {name}"));
            }
            self.attributes
                .push((element.to_owned(), name.to_owned(), value.to_owned()));
            rest = after.trim_start();
        }
        Ok(())
    }

    fn take_text(&mut self, text: &str) -> Result<(), String> {
        if text.contains('>') {
            return Err(format!("a loose > in {text:?}"));
        }
        let mut rest = text;
        while let Some(at) = rest.find('&') {
            self.text.push_str(&rest[..at]);
            let end = rest[at..].find(';').ok_or("a loose &")? + at;
            self.text.push(match &rest[at..=end] {
                "&amp;" => '&',
                "&lt;" => '<',
                "&gt;" => '>',
                "&quot;" => '"',
                "&#39;" => '\'',
                other => return Err(format!("the reference {other}")),
            });
            rest = &rest[end + 1..];
        }
        self.text.push_str(rest);
        Ok(())
    }

    /// How many elements of a name.
    pub fn count(&self, element: &str) -> usize {
        self.elements.iter().filter(|name| *name == element).count()
    }

    /// Values of an attribute wherever it stands.
    pub fn values(&self, attribute: &str) -> Vec<&str> {
        self.attributes
            .iter()
            .filter(|(_, name, _)| name == attribute)
            .map(|(_, _, value)| value.as_str())
            .collect()
    }

    /// What is wrong with a page that must stand alone and be read by anyone.
    pub fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        for (element, name, value) in &self.attributes {
            let outside = match name.as_str() {
                "href" => !value.starts_with('#'),
                "src" => !value.starts_with("data:image/png;base64,"),
                "xmlns" => value != "http://www.w3.org/2000/svg",
                name if name.starts_with("on") => true,
                _ => value.contains("javascript:"),
            };
            if outside {
                faults.push(format!("<{element} {name}=\"{value}\"> leads outside"));
            }
        }
        for element in ["script", "iframe", "object", "embed", "link", "form"] {
            if self.count(element) > 0 {
                faults.push(format!("there is a <{element}>"));
            }
        }
        let mut ids = self.values("id");
        ids.sort_unstable();
        let all = ids.len();
        ids.dedup();
        if ids.len() != all {
            faults.push("two elements share an id".to_owned());
        }
        for target in self.values("href") {
            let target = target.trim_start_matches('#');
            if !ids.contains(&target) {
                faults.push(format!("#{target} leads nowhere"));
            }
        }
        for labels in self.values("aria-labelledby") {
            for label in labels.split(' ') {
                if !ids.contains(&label) {
                    faults.push(format!("nothing is labelled by {label}"));
                }
            }
        }
        // Each figure has its title and description, each picture its words, each table its
        // caption and heads.
        let pairs = [
            ("svg", "desc"),
            ("table", "caption"),
            ("main", "h1"),
            ("html", "header"),
        ];
        for (one, other) in pairs {
            if self.count(one) != self.count(other) {
                faults.push(format!("not as many <{other}> as <{one}>"));
            }
        }
        if self.count("svg") + 1 != self.count("title") {
            faults.push("a figure without a title".to_owned());
        }
        let images = self.count("img");
        if self.values("alt").len() != images {
            faults.push("a picture without words".to_owned());
        }
        let heads = self
            .attributes
            .iter()
            .filter(|(e, n, _)| e == "th" && n == "scope");
        if heads.count() != self.count("th") {
            faults.push("a head of a table without its direction".to_owned());
        }
        if !self.values("lang").contains(&"en") {
            faults.push("no language".to_owned());
        }
        faults
    }
}
