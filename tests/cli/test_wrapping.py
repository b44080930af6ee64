"""Long sentences on a terminal are wrapped at words; files and pipes get whole lines."""

import io

from kilnctl.commands._wrapping import Wrapping, wrapped, wrapping

LONG = "  TIGHT         flicker: " + "lamps on the same line flicker " * 12


def test_a_sentence_is_wrapped_at_words_and_goes_on_further_in():
    lines = wrapped(LONG, 80).splitlines()
    assert len(lines) > 4 and all(len(line) <= 80 for line in lines)
    assert all(line.startswith("      ") and not line.startswith("       ") for line in lines[1:])
    assert " ".join(" ".join(lines).split()) == " ".join(LONG.split())


def test_rows_of_tables_and_json_stay():
    row = "  sides: 1 in mineral wool 100 as one more layer behind the blanket      330 BTU/h   16 %" + " " * 10 + "end"
    json = '  "words": "' + "lamps flicker " * 12
    assert wrapped(row, 60) == row and wrapped(json, 60) == json
    assert wrapped("short", 60) == "short" and wrapped("", 60) == ""


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_terminal_gets_whole_lines_and_a_prompt_at_once():
    screen = Terminal()
    out = Wrapping(screen, 40)
    print("a prompt: ", end="", file=out)
    assert screen.getvalue() == ""
    out.flush()
    assert screen.getvalue() == "a prompt: " and out.isatty()
    print("\n" + "yes " * 20, file=out)
    assert max(map(len, screen.getvalue().splitlines())) <= 40


def test_only_a_terminal_is_wrapped_and_no_command_that_asks(monkeypatch):
    for stream, command, lines in ((Terminal(), "check", 5), (io.StringIO(), "check", 1), (Terminal(), "new", 1)):
        monkeypatch.setattr("sys.stdout", stream)
        with wrapping(command):
            print(LONG)
        assert len(stream.getvalue().splitlines()) >= lines
        assert (len(stream.getvalue().splitlines()) == 1) is (lines == 1)
