"""One tab of the live page: Bokeh figures and sources, and the messages to and from the page.

The page's own script (page.js) sends a JSON text through the model `inbox`; what the page is to
show goes through `outbox`.  Every message is checked; a bad one is answered, none ends the tab.
"""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from typing import Any

from bokeh.document import Document
from bokeh.models.annotations import Span
from bokeh.models.sources import ColumnDataSource
from bokeh.models.widgets.inputs import TextInput
from bokeh.plotting import figure

from domemargin.fea.bottom.frames import frames
from domemargin.fea.core.record import Record
from domemargin.profiles import InputError, dump_profile
from domemargin.profiles.units import PSI
from domemargin.studies.live import desk as moves
from domemargin.studies.live import lines
from domemargin.studies.live.answers import answer_data, slope_rows
from domemargin.studies.live.fields import fields_of, text_of, values_of
from domemargin.studies.live.link import packed, uploaded
from domemargin.studies.live.solver import Answer, Latest, Request, now
from domemargin.studies.report.page import html_of
from domemargin.studies.report.reversal import reversal_report
from domemargin.studies.text.words import one_line

LONGEST_MESSAGE = 400_000  # letters; an uploaded file is the longest
_TOOLS = "pan,wheel_zoom,box_zoom,reset,save"
NOW, OTHER, RING = "#b4541a", "#5b6ee1", "#1b7f79"  # of the light page; page.js has the dark


class Tab:
    """A tab: nothing of it is shared with another one."""

    def __init__(self, document: Document, desk: moves.Desk) -> None:
        self.document, self.desk = document, desk
        self.record: Record | None = None
        self.number = 0
        self.closed = False
        self.inbox = TextInput(name="inbox")
        self.outbox = TextInput(name="outbox")
        self.sources = {
            name: ColumnDataSource(lines.onset(None)) for name in ("section", "pin", "onset")
        }
        self.sources |= {name: ColumnDataSource(lines.path(None)) for name in ("path", "pinpath")}
        self.sources["section"].data = lines.section(desk.profile)
        self.required = Span(dimension="width", line_dash="dashed", line_width=1.5, visible=False)
        self.inbox.on_change("value", self._received)
        self.pinned_lines: list[Any] = []
        self.figures = (self._section_figure(), self._path_figure())
        self.solver = Latest(self._solved)

    def open(self) -> None:
        """Put the tab on its document."""
        for model in (*self.figures, self.inbox, self.outbox):
            self.document.add_root(model)
        self.document.on_session_destroyed(self._ended)

    def _ended(self, _: Any) -> None:
        self.closed = True
        self.solver.close()

    def _section_figure(self) -> Any:
        plot = figure(
            name="section", match_aspect=True, sizing_mode="stretch_both", tools=_TOOLS,
            x_axis_label="r (mm)", y_axis_label="z (mm)", min_height=240,
        )  # fmt: skip
        now = plot.patch(
            "r", "z", source=self.sources["section"], fill_color=NOW, fill_alpha=0.35,
            line_color=NOW, line_width=1.2, legend_label="now", name="now",
        )  # fmt: skip
        plot.line("r", "z", source=self.sources["onset"], color=RING, line_width=1.5,
                  legend_label="at reversal, mid-surface", name="ring")  # fmt: skip
        pinned = plot.line(
            "r", "z", source=self.sources["pin"], color=OTHER, line_dash="dashed",
            line_width=1.5, legend_label="pinned", visible=False, name="pin",
        )  # fmt: skip
        self.pinned_lines.append(pinned)
        for ends in (plot.x_range, plot.y_range):
            ends.renderers = [now]  # type: ignore[attr-defined]
        return self._dressed(plot, "bottom_left")

    def _path_figure(self) -> Any:
        plot = figure(
            name="path", sizing_mode="stretch_both", tools=_TOOLS, min_height=240,
            x_axis_label="downward travel (mm)", y_axis_label="pressure (psi)",
        )  # fmt: skip
        for column, colour, about in (("centre", NOW, "dome centre"), ("ring", RING, "stand ring")):
            tag = "now" if column == "centre" else "ring"
            plot.line(column, "psi", source=self.sources["path"], line_width=2, color=colour,
                      legend_label=about, name=tag)  # fmt: skip
            pinned = plot.line(column, "psi", source=self.sources["pinpath"], line_width=1.5,
                               color=OTHER, line_dash="dashed", line_alpha=0.9, visible=False,
                               legend_label="pinned", name="pin")  # fmt: skip
            self.pinned_lines.append(pinned)
        plot.add_layout(self.required)
        return self._dressed(plot, "bottom_right")

    def _dressed(self, plot: Any, place: str) -> Any:
        plot.toolbar.logo = None
        plot.toolbar.autohide = True
        plot.legend.location = place
        pinned = next(item for item in plot.legend.items if item.label.value == "pinned")
        pinned.visible = False
        self.pinned_lines.append(pinned)
        return plot

    # from the page

    def _received(self, _: str, __: Any, text: Any) -> None:
        """A message of the page; whatever is wrong with it becomes an answer beside its field."""
        where = ""
        try:
            if not isinstance(text, str) or len(text) > LONGEST_MESSAGE:
                raise InputError("the page sent more than it may")
            message = json.loads(text)
            if not isinstance(message, dict):
                raise InputError("the page sent a message that is not understood")
            where = str(message.get("name", message.get("do", "")))[:60]
            self._act(message)
        except InputError as error:
            self._tell("wrong", name=where, sentence=one_line(str(error), 400))
        except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
            self._tell("wrong", name=where, sentence="the page sent a message that is not "
                       "understood; reload it")  # fmt: skip

    def _act(self, message: dict[str, Any]) -> None:
        do, before = str(message.get("do")), self.desk
        sent = int(message.get("n", 0))
        if not 0 <= sent < 2**53:
            raise ValueError(sent)
        if do == "set":
            self.desk = moves.set_value(self.desk, str(message["name"]), float(message["value"]))
        elif do == "type":
            self.desk = moves.type_value(self.desk, str(message["name"]), str(message["text"]))
        elif do == "rest":
            self.desk = moves.settled(self.desk)
            return
        elif do in ("undo", "reset"):
            self.desk = moves.undo(self.desk) if do == "undo" else moves.reset(self.desk)
        elif do == "require":
            self.desk = replace(self.desk, required=moves.required_of(str(message["text"])))
        elif do == "drink":
            found = moves.required_by_drink(str(message["carbonation"]), str(message["stage"]))
            self.desk = replace(self.desk, required=found)
            self._tell("required", text=f"{found / PSI:.1f} psi")
        elif do in ("pin", "unpin"):
            self._pin(do == "pin")
            return
        elif do == "upload":
            self.desk = moves.put(self.desk, uploaded(str(message["text"])))
        elif do == "save":
            file = f"{plain_name(self.desk.profile.name)}.toml"
            self._tell("save", file=file, text=dump_profile(self.desk.profile))
            return
        elif do == "report":
            self._report()
            return
        elif do == "link":
            self._tell("link", bottom=packed(self.desk.profile), required=self._required_text())
            return
        elif do not in ("start", "rank"):
            raise InputError("the page sent a message that is not understood; reload it")
        if before.profile != self.desk.profile or do == "start":
            self._show_fields("" if do != "set" else str(message["name"]))
            self.sources["section"].data = lines.section(self.desk.profile)
        self._ask(sent, do == "rank")

    def _required_text(self) -> str:
        required = self.desk.required
        return "" if required is None else f"{required / PSI:.6g} psi"

    def _pin(self, on: bool) -> None:
        if on and self.record is None:
            raise InputError("there is no answer to pin yet")
        pinned = self.record if on else None
        self.desk = replace(self.desk, pinned=pinned)
        nothing = lines.onset(None)
        self.sources["pin"].data = nothing if pinned is None else lines.section(pinned.profile)
        self.sources["pinpath"].data = lines.path(pinned)
        for one in self.pinned_lines:
            one.visible = pinned is not None
        if self.record is not None:
            whole = self.record.stability is not None
            self._tell("answer", n=0, **answer_data(self.record, pinned, whole))

    def _report(self) -> None:
        """Make the report of the answer at hand, off the page's thread."""
        record = self.record
        if record is None or record.stability is None or record.profile != self.desk.profile:
            raise InputError("the whole answer is not there yet; ask again in a moment")
        file = plain_name(record.profile.name)

        def make() -> None:
            try:
                found = record.reversal_pressure_mpa is not None
                turned = frames(record.profile) if found else None
                command = f"domemargin reversal {file}.toml --report"
                text = html_of(reversal_report(record, turned, f"{file}.toml", command))
                told = {"kind": "save", "file": f"{file}.html", "text": text}
            except Exception as error:  # a page outlives whatever a bottom does to the solver
                sentence = one_line(f"the report could not be made: {error}", 300)
                told = {"kind": "wrong", "name": "report", "sentence": sentence}
            if not self.closed:
                self.document.add_next_tick_callback(lambda: self._tell(**told))

        threading.Thread(target=make, daemon=True, name="live report").start()

    # to the page

    def _ask(self, sent: int, ranked: bool) -> None:
        request = Request(sent, self.desk.profile, self.desk.required, now(), ranked)
        self.solver.ask(request)

    def _solved(self, answer: Answer) -> None:
        """Called in the solver's thread."""
        if not self.closed:
            self.document.add_next_tick_callback(lambda: self._show(answer))

    def _show(self, answer: Answer) -> None:
        if self.closed:
            return
        if answer.record is None:
            self._tell("wrong", name="solve", sentence=one_line(answer.trouble, 300))
            return
        if answer.slopes is not None:
            self._tell("slopes", rows=slope_rows(answer.slopes))
            return
        self.record = answer.record
        self.sources["path"].data = lines.path(answer.record)
        self.sources["onset"].data = lines.onset(answer.record)
        required = answer.record.required_pressure_mpa
        self.required.visible = required is not None
        if required is not None:
            self.required.location = required / PSI
        data = answer_data(answer.record, self.desk.pinned, answer.whole)
        self._tell("answer", n=answer.request.number, dropped=self.solver.dropped, **data)

    def _show_fields(self, only: str) -> None:
        """Values of the fields; only : the one that is dragged, whose slider keeps its range, or ""
        for all."""
        profile = self.desk.profile
        values = values_of(profile)
        fields = [
            {"name": one.name, "label": one.label, "group": one.group, "start": one.start,
             "stop": one.stop, "step": one.step, "value": values[one.name],
             "text": text_of(one, values[one.name])}
            for one in fields_of(profile) if only in ("", one.name)
        ]  # fmt: skip
        words = {"bottom": one_line(profile.name, 90), "metal": one_line(profile.material.name, 60)}
        self._tell("fields", full=not only, undo=len(self.desk.past), fields=fields, **words)

    def _tell(self, kind: str, **data: Any) -> None:
        self.number += 1
        self.outbox.value = json.dumps({"kind": kind, "seq": self.number, **data})


def plain_name(name: str) -> str:
    """A bottom's name as the name of a file: letters, digits and dashes."""
    return "".join(c if c.isalnum() else "-" for c in name)[:60] or "bottom"
