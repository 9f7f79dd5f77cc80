"""What a person reads on a page."""

import re
from html import unescape

TAG = re.compile(r"<[^>]+>")


def words(response):
    """All text of a page, with single spaces."""
    return " ".join(unescape(TAG.sub(" ", response.content.decode())).split())


def chips(response):
    found = re.findall(r'<span class="chip [^"]*">.*?</svg>(.*?)</span>', response.content.decode(), re.DOTALL)
    return [unescape(text) for text in found]


def refusal(response):
    """The sentence at #refusal."""
    box = re.search(r'<div id="refusal".*?>(<p>.*?</p>)?', response.content.decode(), re.DOTALL)
    return " ".join(unescape(TAG.sub(" ", box[1] or "")).split())
