// The list of schedules: copy, rename, delete and restore, and the earlier versions of each.
import { act, ask, element, get, outcome, post, say } from "./ask.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);

export class Shelf {
  constructor(page) {
    this.page = page;
    $("schedule-copy").addEventListener("click", () => this.named("copy", w("Copy"), w("Name of the copy")));
    $("schedule-rename").addEventListener("click", () => this.named("rename", w("Rename"), w("New name")));
    $("schedule-delete").addEventListener("click", () => this.remove());
  }
  async named(what, head, words) {
    const file = this.page.file, field = element("input", { id: "shelf-name", maxlength: "60", autocomplete: "off", value: file.replace(/\.ya?ml$/, "") });
    let now = file;
    const done = await ask(head, [element("label", { for: "shelf-name" }, words), field], head, async () => {
      const said = await post(`/api/${what}`, { file, to: field.value });
      if (said.ok) { now = said.file; say(said.words); }
      return outcome(said);
    });
    if (done) await this.show(now);
  }
  async show(file) { await this.page.shown(); await this.page.open(file); }
  async remove() {
    const file = this.page.file;
    let version = "";
    const done = await ask(w("Delete it?"), [element("p", {}, w("{file} can be brought back from “Deleted ones”.", { file }))], w("Delete"), async () => {
      const said = await post("/api/delete", { file });
      version = said.version;
      return outcome(said);
    });
    if (!done) return;
    $("schedule-one").hidden = true; this.page.file = null;
    await this.page.shown();
    say(`${w("{file} is deleted.", { file })} `, element("button", { type: "button", id: "undo", onclick: () => this.restore(file, version) }, w("Undo")));
  }
  async restore(file, version) {
    const said = await act("/api/restore", { file, version });
    if (said.ok) await this.show(file);
  }
  deleted(list) {
    $("schedule-deleted").hidden = !list.length;
    $("deleted-list").replaceChildren(...list.map((d) => element("li", {}, element("button", { type: "button", onclick: () => this.restore(d.file, d.version) }, d.file, element("small", {}, w("deleted {when}; press to bring it back", { when: d.when }))))));
  }
  // An earlier text opens in the editor first; saving it makes it the present one.
  versions(list) {
    const file = this.page.file;
    $("schedule-earlier").hidden = !list.length;
    for (const id of ["schedule-copy", "schedule-rename", "schedule-delete"]) $(id).hidden = file === null;
    $("version-list").replaceChildren(...list.map((v) => element("li", {}, element("button", { type: "button", onclick: async () => {
      $("schedule-text").value = (await get(`/api/schedule?file=${encodeURIComponent(file)}&version=${encodeURIComponent(v.version)}`)).text || "";
      $("schedule-edit").open = true; this.page.changed = true;
      await this.page.check();
    } }, w("until {time}", { time: v.when }), element("small", {}, v.why)))));
  }
}
