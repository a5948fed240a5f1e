//! A flat JSON object, read with the bytes of every key and value.
//!
//! A general JSON reader forgets where a value stood and how a number was written;
//! a book needs both.

use std::borrow::Cow;
use std::ops::Range;

use crate::quantity::number::is_json_number;

/// A value, as written.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value<'a> {
    Text(Cow<'a, str>),
    Number(&'a str),
    Flag(bool),
    Null,
    List,
    Object,
}

impl Value<'_> {
    /// Plain words for its type.
    pub(super) fn words(&self) -> &'static str {
        match self {
            Value::Text(_) => "a text",
            Value::Number(_) => "a number",
            Value::Flag(_) => "true or false",
            Value::Null => "null",
            Value::List => "a list",
            Value::Object => "an object",
        }
    }
}

/// One `"key": value`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Member<'a> {
    pub key: Cow<'a, str>,
    pub key_span: Range<usize>,
    pub value: Value<'a>,
    pub span: Range<usize>,
}

/// Where a text stops being a JSON object, and what was expected there.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct NotJson {
    pub at: usize,
    pub expected: &'static str,
}

/// Reads one object that fills the whole text.
pub(super) fn members(text: &str) -> Result<Vec<Member<'_>>, NotJson> {
    let mut reader = Reader { text, at: 0 };
    let mut members = Vec::with_capacity(16);
    reader.blanks();
    reader.token(b'{', "`{`")?;
    reader.blanks();
    if reader.peek() != Some(b'}') {
        loop {
            reader.blanks();
            let key_from = reader.at;
            let key = reader.string("a key in double quotes")?;
            let key_span = key_from..reader.at;
            reader.blanks();
            reader.token(b':', "`:`")?;
            reader.blanks();
            let from = reader.at;
            let value = reader.value()?;
            members.push(Member {
                key,
                key_span,
                value,
                span: from..reader.at,
            });
            reader.blanks();
            if reader.peek() == Some(b',') {
                reader.at += 1;
            } else {
                break;
            }
        }
    }
    reader.token(b'}', "`,` or `}`")?;
    reader.blanks();
    if reader.at < text.len() {
        return reader.fail("the end of the line");
    }
    Ok(members)
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Reader<'a> {
    fn peek(&self) -> Option<u8> {
        self.text.as_bytes().get(self.at).copied()
    }

    fn fail<T>(&self, expected: &'static str) -> Result<T, NotJson> {
        Err(NotJson {
            at: self.at,
            expected,
        })
    }

    fn blanks(&mut self) {
        while matches!(self.peek(), Some(b' ' | b'\t' | b'\r' | b'\n')) {
            self.at += 1;
        }
    }

    fn token(&mut self, token: u8, expected: &'static str) -> Result<(), NotJson> {
        if self.peek() != Some(token) {
            return self.fail(expected);
        }
        self.at += 1;
        Ok(())
    }

    fn string(&mut self, expected: &'static str) -> Result<Cow<'a, str>, NotJson> {
        if self.peek() != Some(b'"') {
            return self.fail(expected);
        }
        let from = self.at;
        let bytes = self.text.as_bytes();
        let mut plain = true;
        let mut i = from + 1;
        loop {
            match bytes.get(i) {
                None => {
                    self.at = bytes.len();
                    return self.fail("a closing double quote");
                }
                Some(b'"') => break,
                Some(b'\\') => {
                    plain = false;
                    i += 2;
                }
                Some(0..=0x1f) => {
                    self.at = i;
                    return self.fail("no bare control character in a text");
                }
                Some(_) => i += 1,
            }
        }
        let whole = from..i + 1;
        if plain {
            self.at = whole.end;
            return Ok(Cow::Borrowed(&self.text[from + 1..i]));
        }
        match serde_json::from_str::<String>(&self.text[whole.clone()]) {
            Ok(text) => {
                self.at = whole.end;
                Ok(Cow::Owned(text))
            }
            Err(_) => self.fail("a text with valid escapes"),
        }
    }

    fn value(&mut self) -> Result<Value<'a>, NotJson> {
        match self.peek() {
            Some(b'"') => self.string("a text").map(Value::Text),
            Some(b'{') => self.skip_nested().map(|()| Value::Object),
            Some(b'[') => self.skip_nested().map(|()| Value::List),
            _ => {
                let rest = &self.text[self.at..];
                let end = rest
                    .bytes()
                    .position(|b| !(b.is_ascii_alphanumeric() || matches!(b, b'-' | b'+' | b'.')))
                    .unwrap_or(rest.len());
                let word = &rest[..end];
                let value = match word {
                    "true" => Value::Flag(true),
                    "false" => Value::Flag(false),
                    "null" => Value::Null,
                    number if is_json_number(number) => Value::Number(number),
                    _ => return self.fail("a value"),
                };
                self.at += end;
                Ok(value)
            }
        }
    }

    /// Passes over a list or object; no book key takes one, so only its end matters.
    fn skip_nested(&mut self) -> Result<(), NotJson> {
        let mut depth = 0usize;
        loop {
            match self.peek() {
                None => return self.fail("a closing bracket"),
                Some(b'{' | b'[') => {
                    depth += 1;
                    self.at += 1;
                }
                Some(b'}' | b']') => {
                    depth -= 1;
                    self.at += 1;
                    if depth == 0 {
                        return Ok(());
                    }
                }
                Some(b'"') => {
                    self.string("a text")?;
                }
                // Between brackets every other token is passed over byte by byte; a
                // byte inside a longer character is never one of those above.
                Some(_) => self.at += 1,
            }
        }
    }
}

/// Writes a text as JSON does.
pub(super) fn write_text(text: &str, out: &mut String) {
    let plain = text.bytes().all(|b| b >= 0x20 && b != b'"' && b != b'\\');
    if plain {
        out.push('"');
        out.push_str(text);
        out.push('"');
    } else {
        // A text always has a JSON form.
        out.push_str(&serde_json::to_string(text).unwrap_or_default());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_keep_their_bytes() {
        let line = r#" {"a" : "x\ny","b":-1.50,"c":[1,{"d":"]"}],"e":null,"f":true} "#;
        let all = members(line).expect("json");
        let seen: Vec<(&str, &str)> = all
            .iter()
            .map(|m| (m.key.as_ref(), &line[m.span.clone()]))
            .collect();
        assert_eq!(
            seen,
            [
                ("a", r#""x\ny""#),
                ("b", "-1.50"),
                ("c", r#"[1,{"d":"]"}]"#),
                ("e", "null"),
                ("f", "true")
            ]
        );
        assert_eq!(all[0].value, Value::Text("x\ny".into()));
    }

    #[test]
    fn what_is_not_json_is_placed() {
        for (line, at) in [
            ("", 0),
            ("[]", 0),
            (r#"{"a":1"#, 6),
            (r#"{"a":1}}"#, 7),
            (r#"{"a" 1}"#, 5),
            (r#"{"a":01}"#, 5),
            (r#"{a:1}"#, 1),
            (r#"{"a":"x}"#, 8),
            (r#"{"a":1,}"#, 7),
            (r#"{"a":"\q"}"#, 5),
            (r#"{"a":[1}"#, 8),
        ] {
            match members(line) {
                Err(fault) => assert_eq!(fault.at, at, "{line}"),
                // Mixed brackets in a skipped value are refused later, by its type.
                Ok(all) => assert_eq!(all[0].value, Value::List, "{line}"),
            }
        }
    }
}
