//! How the pages of several stills begin.

const BEFORE_TITLE: &str = "<!doctype html>
<html lang=\"en\">
<meta charset=\"utf-8\">
<meta name=\"viewport\" content=\"width=device-width\">
<title>";

const STYLE: &str = "</title>
<style>
  body { margin: 2rem; background: #1c1d24; color: #e6e2da; font: 16px/1.5 system-ui, sans-serif; }
  h1, h2 { font-weight: 500; }
  section { display: grid; grid-template-columns: repeat(auto-fit, minmax(20rem, 1fr)); gap: 1rem; }
  figure { margin: 0; }
  img { width: 100%; height: auto; display: block; }
";

const LINKS: &str = "  a { color: inherit; }
  a:focus-visible { outline: 3px solid #f3cf93; outline-offset: 2px; }
</style>
";

/// A page of this title up to its first heading, with lines of style of its own.
pub(super) fn head(title: &str, style: &str) -> String {
    [BEFORE_TITLE, title, STYLE, style, LINKS].concat()
}
