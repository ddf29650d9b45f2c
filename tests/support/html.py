"""Read a page as a browser would, and strictly."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link"}


class Page(HTMLParser):
    """Tags, attributes and text of a page; a tag that is closed wrongly is an error."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.text.append((self.open[-1] if self.open else "", data.strip()))

    def words(self, tag: str = "") -> str:
        return " ".join(data for where, data in self.text if not tag or where == tag)
