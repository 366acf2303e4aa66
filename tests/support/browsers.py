"""
Browsers that open paperkey_alt/rescue/page.html: Debian's chromium through playwright, and
firefox-esr through its own protocol. The page's policy forbids eval, so nothing here waits by it.
"""

import contextlib
import hashlib
import shutil
from pathlib import Path

PAGE = Path(__file__).parents[2] / "paperkey_alt/rescue/page.html"
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")

# Gives the page what a person would give it, presses the button, and tells what it shows.
RESTORE = """async (given) => {
  const $ = (id) => document.getElementById(id);
  const give = (id, list) => {
    const files = new DataTransfer();
    list.forEach(([part, name]) => files.items.add(new File([part], name)));
    $(id).files = files.files;
    $(id).dispatchEvent(new Event('change'));
  };
  const bytes = (base64) => Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
  $('forget').click();
  if (given.typed) {
    $('lines').value = given.texts.join('\\n');
    $('lines').dispatchEvent(new Event('input'));
  } else if (given.texts) give('sources', given.texts.map((text, i) => [text, `${i}.txt`]));
  if (given.files) give('sources', given.files.map((file, i) => [bytes(file), `${i}.png`]));
  if (given.certificate) give('certificate', [[bytes(given.certificate), 'cert.asc']]);
  $('passphrase').value = given.passphrase || '';
  $('key-passphrase').value = given.keyPassphrase || '';
  $('names').value = given.names || '';
  const start = performance.now(), status = $('status');
  $('restore').click();
  while ($('restore').disabled || ['', 'working'].includes(status.dataset.outcome)) {
    await new Promise((done) => setTimeout(done, 5));
  }
  const words = status.textContent, notes = $('notes').textContent, files = $('files').textContent;
  const offered = !$('result').hidden, ms = performance.now() - start;
  return { ...status.dataset, words, notes, files, offered, ms };
}"""


class Tab:
    """The page in a tab of Chromium: `run` as Firefox has it, and playwright's own `page`."""

    def __init__(self, browser, **context):
        self.context = browser.new_context(**context)
        self.page = self.context.new_page()
        self.complaints, self.requests = [], []
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.goto(PAGE.as_uri())

    def run(self, function, argument=None):
        """What an async function of JavaScript, given *argument*, gives."""
        return self.page.evaluate(function, argument)

    def saved(self):
        """The file that a click on the result gives: its name and its bytes."""
        with self.page.expect_download() as download:
            self.page.locator("#result").click()
        return download.value.suggested_filename, Path(download.value.path()).read_bytes()


@contextlib.contextmanager
def chromium(playwright, *flags):
    """A Chromium without a window."""
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", *flags])
    yield browser
    browser.close()


def sha256(data):
    """As the page tells it."""
    return hashlib.sha256(data).hexdigest()
