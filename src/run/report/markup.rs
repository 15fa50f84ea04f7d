//! Writing HTML and SVG so that nothing a person or a camera named can become markup: every text
//! and every attribute goes through one door that escapes it, and every element that is opened is
//! closed. It knows no page and no picture.

/// Markup being written.
#[derive(Debug, Default)]
pub struct Markup {
    out: String,
    open: Vec<&'static str>,
}

/// An attribute: its name and its value, not yet escaped.
pub type Attribute<'a> = (&'static str, &'a str);

impl Markup {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Begins a page.
    pub fn doctype(&mut self) {
        self.out.push_str("<!DOCTYPE html>\n");
    }

    /// Opens an element.
    pub fn open(&mut self, tag: &'static str, attributes: &[Attribute<'_>]) {
        self.start(tag, attributes);
        self.out.push('>');
        self.open.push(tag);
    }

    /// Closes the element opened last.
    pub fn close(&mut self) {
        if let Some(tag) = self.open.pop() {
            self.out.push_str("</");
            self.out.push_str(tag);
            self.out.push('>');
            if breaks_after(tag) {
                self.out.push('\n');
            }
        }
    }

    /// An element without content.
    pub fn empty(&mut self, tag: &'static str, attributes: &[Attribute<'_>]) {
        self.start(tag, attributes);
        self.out.push_str("/>");
    }

    /// Words.
    pub fn text(&mut self, words: &str) {
        escape_into(&mut self.out, words);
    }

    /// An element that holds words only.
    pub fn words(&mut self, tag: &'static str, attributes: &[Attribute<'_>], words: &str) {
        self.open(tag, attributes);
        self.text(words);
        self.close();
    }

    /// Words that a person typed or a device brought: their direction of writing must not turn
    /// what stands beside them.
    pub fn foreign(&mut self, words: &str) {
        self.words("bdi", &[], words);
    }

    /// A style sheet of our own, which holds nothing from outside.
    pub fn style(&mut self, css: &str) {
        self.out.push_str("<style>\n");
        // A style sheet cannot be escaped; ours holds no such letter but `>` at most.
        self.out.push_str(&css.replace('<', ""));
        self.out.push_str("</style>\n");
    }

    /// Puts finished markup here.
    pub fn put(&mut self, other: Self) {
        self.out.push_str(&other.finish());
    }

    /// Closes what is open and gives everything.
    #[must_use]
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.out
    }

    fn start(&mut self, tag: &'static str, attributes: &[Attribute<'_>]) {
        self.out.push('<');
        self.out.push_str(tag);
        for (name, value) in attributes {
            self.out.push(' ');
            self.out.push_str(name);
            self.out.push_str("=\"");
            escape_into(&mut self.out, value);
            self.out.push('"');
        }
    }
}

/// Elements after which a new line makes the file readable and changes nothing.
fn breaks_after(tag: &str) -> bool {
    matches!(
        tag,
        "head"
            | "body"
            | "html"
            | "title"
            | "h1"
            | "h2"
            | "h3"
            | "p"
            | "tr"
            | "table"
            | "thead"
            | "tbody"
            | "ul"
            | "ol"
            | "li"
            | "dl"
            | "dd"
            | "figure"
            | "figcaption"
            | "section"
            | "header"
            | "footer"
            | "nav"
            | "main"
            | "aside"
            | "svg"
            | "g"
            | "pre"
            | "caption"
    )
}

/// Appends words with `&`, `<`, `>`, `"` and `'` written as references. Letters that control
/// instead of write (all but the new line and the tab) become the sign for a letter that is not
/// one, because they are allowed in no page.
fn escape_into(out: &mut String, words: &str) {
    for letter in words.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(letter),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            control if control.is_control() => out.push('\u{fffd}'),
            other => out.push(other),
        }
    }
}

/// Bytes as a `data:` address of a PNG picture.
#[must_use]
pub fn png_address(png: &[u8]) -> String {
    format!("data:image/png;base64,{}", base64(png))
}

/// Base 64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |at: usize| u32::from(chunk.get(at).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            if place <= chunk.len() {
                let index = (bits >> (18 - 6 * place)) & 63;
                out.push(char::from(LETTERS[index as usize]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base_64_is_as_published() {
        // RFC 4648, section 10.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn words_cannot_become_markup() {
        let mut markup = Markup::new();
        let nasty = "</p><script>alert(\"x\")&'\0\u{7f}</script>";
        markup.words("p", &[("title", nasty)], nasty);
        let out = markup.finish();
        let safe = "&lt;/p&gt;&lt;script&gt;alert(&quot;x&quot;)&amp;&#39;\u{fffd}\u{fffd}\
                    &lt;/script&gt;";
        assert_eq!(out, format!("<p title=\"{safe}\">{safe}</p>\n"));
    }

    #[test]
    fn what_is_opened_is_closed() {
        let mut markup = Markup::new();
        markup.open("main", &[]);
        markup.open("p", &[]);
        markup.empty("br", &[]);
        assert_eq!(markup.finish(), "<main><p><br/></p>\n</main>\n");
    }
}
