"""
The hashes by which the policy of page.html allows its own script and style, and nothing else.

`python tests/rescue/page_hashes.py` writes those of the page as it is into it.
"""

import base64
import hashlib
import re
from pathlib import Path

PAGE = Path(__file__).parents[2] / "paperkey_alt/rescue/page.html"


def with_hashes(html: str) -> str:
    """Return the page with the hashes of its script and style in its policy (CSP level 3, §6.7)."""
    for tag in "script", "style":
        content = re.search(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL)
        if content is None:
            raise ValueError(f"there is no {tag} in the page")
        digest = base64.b64encode(hashlib.sha256(content[1].encode()).digest()).decode()
        html = re.sub(rf"({tag}-src 'sha256-)[^']*'", rf"\g<1>{digest}'", html, count=1)
    return html


if __name__ == "__main__":
    PAGE.write_text(with_hashes(PAGE.read_text("utf-8")), "utf-8")
