"""What the tests of pages share: a reader of HTML, and commands without a process of their own."""

import argparse
import html.parser
import re


class Page(html.parser.HTMLParser):
    """Collects the words, and everything that a page could fetch or run."""

    def __init__(self, text):
        super().__init__()
        self.words, self.open, self.outside, self.skip = [], [], [], False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag != "meta":
            self.open.append(tag)
        self.look(tag, attrs)

    def handle_startendtag(self, tag, attrs):
        self.look(tag, attrs)

    def look(self, tag, attributes):
        self.outside += [
            f"{tag} {n}={v}" for n, v in attributes if n in ("src", "href", "srcset", "action") or n.startswith("on")
        ]
        self.outside += [tag] * (tag in ("script", "link", "iframe", "object", "img"))
        self.skip = tag == "style"

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        self.skip = False

    def handle_data(self, data):
        if self.skip:
            self.outside += re.findall(r"url\(|@import", data)
        else:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def asked(command, *arguments):
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    return command.run(parser.parse_args([str(a) for a in arguments]))
