// The tests of SAFETY.md that come round, at the end of the page "The oven". It only shows: a test is noted at the oven's computer.
import { element, get } from "./ask.js";
import { w } from "./words.js";

export async function care(place) {
  const said = await get("/api/care");
  document.getElementById("care")?.remove();
  const box = element("section", { id: "care", "aria-labelledby": "care-head" }, element("h2", { id: "care-head" }, w("Tests of SAFETY.md that come round")));
  if (!said.ok) { box.append(element("p", { class: "care" }, said.words || w("they are not known now"))); place.append(box); return; }
  const due = said.tests.filter((t) => t.due);
  box.append(
    element("p", due.length ? { class: "care" } : {}, due.length ? w("{some} of {all} are due. This refuses no run.", { some: due.length, all: said.tests.length }) : w("None is due.")),
    element("ul", {}, ...said.tests.map((t) => element("li", {}, element("strong", {}, `${t.name}: ${t.state}`), `, ${t.last ? w(t.by ? "last {day} by {who}" : "last {day}", { day: t.last, who: t.by }) : w("never noted")}${t.due ? `. ${t.what}` : ""}`))),
    element("p", {}, w("Note one that was done: {command}", { command: "kilnctl due OVEN --done TEST --by NAME" })));
  place.append(box);
}
