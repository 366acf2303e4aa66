"""What is promised of page.html as a file, without a browser."""

import hashlib
import re

import page_hashes

HTML = page_hashes.PAGE.read_text("utf-8")


def test_a_person_can_review_it():
    """At most 2,000 rows of at most 120 characters."""
    rows = HTML.splitlines()
    assert len(rows) <= 2000
    assert max(map(len, rows)) <= 120


def test_the_policy_allows_its_own_script_and_style_alone():
    """Nothing by default, no eval, nothing in line but what the hashes name, no connection."""
    assert page_hashes.with_hashes(HTML) == HTML
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', HTML)[1]
    directives = dict(part.split(maxsplit=1) for part in policy.split(";"))
    assert re.fullmatch(r"'sha256-[A-Za-z0-9+/]{43}='", directives.pop("script-src"))
    assert re.fullmatch(r"'sha256-[A-Za-z0-9+/]{43}='", directives.pop("style-src"))
    assert directives == {
        "default-src": "'none'",
        "worker-src": "blob:",
        "form-action": "'none'",
        "base-uri": "'none'",
    }


def test_it_takes_nothing_from_elsewhere_and_stores_nothing():
    """No address, no import, no place that outlives it, no style or handler in a tag."""
    assert re.findall(r"https?:|ftp:|//[a-z]+\.[a-z]|data:[a-z]+/|url\(|@import", HTML) == []
    assert re.findall(r"\b(import|importScripts|eval|fetch|XMLHttpRequest|WebSocket)\(", HTML) == []
    assert re.findall(r"localStorage|sessionStorage|indexedDB|cookie|caches\b", HTML) == []
    assert re.findall(r"<[^>]+ (?:style|on[a-z]+)=", HTML) == []
    assert re.findall(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write", HTML) == []


def test_the_documents_say_its_digest():
    """Who finds a copy can tell whether it is the one."""
    digest = hashlib.sha256(page_hashes.PAGE.read_bytes()).hexdigest()
    assert digest in (page_hashes.PAGE.parents[2] / "docs/rescue.md").read_text("utf-8")
