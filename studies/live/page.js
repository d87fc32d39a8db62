// The page's own script: what is dragged or typed goes out as JSON through `inbox`, what comes back
// through `outbox` is written as text, never as markup.
const begin = (inbox, outbox, section, path) => {
const el = (id) => document.getElementById(id);
let number = 0, wrongAt = 0;
const times = (window.domemarginTimes = []); // ms from a drag event to its redraw
const sentAt = new Map();
const send = (message) => {
  number += 1;
  inbox.value = JSON.stringify({ ...message, n: number });
  return number;
};

// at most one message of a drag a frame, the first at once, then the newest value: those between are
// never sent
let held = null, busy = false;
const drag = (name, value, at = performance.now()) => {
  if (busy) {
    held = { name, value, at };
    return;
  }
  busy = true;
  sentAt.set(send({ do: "set", name, value }), at);
  requestAnimationFrame(() => {
    busy = false;
    if (held === null) return;
    const next = held;
    held = null;
    drag(next.name, next.value, next.at);
  });
};

const say = (place, text) => {
  const field = document.querySelector(`.field[data-name="${CSS.escape(place)}"]`);
  const line = field ? field.querySelector(".wrong") : el("message");
  line.textContent = text;
  if (field) {
    field.classList.toggle("off", text !== "");
    field.querySelectorAll("input").forEach((i) => i.setAttribute("aria-invalid", text !== ""));
  }
};
const calm = () => document.querySelectorAll(".field.off").forEach((f) => say(f.dataset.name, ""));

const make = (tag, props, ...inside) => {
  const node = Object.assign(document.createElement(tag), props);
  node.append(...inside);
  return node;
};
const fieldOf = (f) => {
  const text = make("input", { type: "text", id: `v-${f.name}`, maxLength: 60 });
  const slide = make("input", { type: "range", id: `s-${f.name}` });
  slide.setAttribute("aria-label", `${f.label}, slider`);
  const label = make("label", { htmlFor: text.id, textContent: f.label });
  const wrong = make("p", { className: "wrong" });
  wrong.setAttribute("role", "alert");
  const box = make("div", { className: "field" }, label, text, slide, wrong);
  box.dataset.name = f.name;
  slide.addEventListener("input", () => drag(f.name, Number(slide.value)));
  // after the last message of the drag
  slide.addEventListener("change", () => setTimeout(() => send({ do: "rest" }), 50));
  text.addEventListener("change", () => send({ do: "type", name: f.name, text: text.value }));
  return box;
};
let known = "";
const showFields = (data) => {
  const names = data.fields.map((f) => f.name).join();
  if (data.full && names !== known) {
    document.querySelectorAll("[data-group]").forEach((g) => {
      g.replaceChildren(...data.fields.filter((f) => f.group === g.dataset.group).map(fieldOf));
    });
    known = names;
  }
  for (const f of data.fields) {
    const text = el(`v-${f.name}`), slide = el(`s-${f.name}`);
    if (data.full || f.value < Number(slide.min) || f.value > Number(slide.max)) {
      slide.min = Math.min(f.start, f.value);
      slide.max = Math.max(f.stop, f.value);
      slide.step = f.step;
    }
    if (document.activeElement !== slide || data.full) {
      slide.step = "any"; // a typed value need not lie on a step
      slide.value = f.value;
      slide.step = f.step;
    }
    slide.setAttribute("aria-valuetext", f.text);
    text.value = f.text;
  }
  el("bottom").textContent = data.bottom;
  el("metal").textContent = data.metal;
  el("undo").disabled = data.undo === 0;
  el("slopes").hidden = true; // they were those of another bottom
  el("rank").textContent = "Rank the inputs";
  calm();
};
const cells = (rows) =>
  rows.map((row) =>
    make("tr", {}, ...row.map((text, i) => make("td", { textContent: text, className: i > 1 ? "other" : "" }))));
const showAnswer = (data) => {
  el("pressure").textContent = data.pressure;
  el("metric").textContent = data.metric;
  el("verdict").textContent = data.verdict;
  el("verdict").className = `verdict ${data.mood}`;
  el("rows").classList.toggle("pinned", data.pinned !== null);
  el("rows").tBodies[0].replaceChildren(...cells(data.rows));
  el("notes").replaceChildren(...data.notes.map((t) => make("li", { textContent: t })));
  el("caution").textContent = data.caution;
  el("pin").textContent = data.pinned === null ? "Pin to compare" : "Unpin";
  el("pin").setAttribute("aria-pressed", data.pinned !== null);
  document.body.dataset.whole = data.whole;
  document.body.dataset.answered = data.n;
  const at = sentAt.get(data.n);
  if (at === undefined) return;
  for (const n of sentAt.keys()) if (n <= data.n) sentAt.delete(n);
  // after the frame that draws the curves
  requestAnimationFrame(() => requestAnimationFrame(() => times.push(performance.now() - at)));
};
const save = (data) => {
  const link = make("a", { href: URL.createObjectURL(new Blob([data.text])), download: data.file });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
};
const copy = async (data) => {
  if (data.bottom === null) return say("", "this bottom is too long for a link; save its profile");
  const link = new URL(location.href);
  link.searchParams.set("bottom", data.bottom);
  if (data.required) link.searchParams.set("require", data.required);
  else link.searchParams.delete("require");
  history.replaceState(null, "", link);
  document.body.dataset.link = link.href;
  let told = "The link with all values is in the address bar.";
  try {
    await navigator.clipboard.writeText(link.href);
    told = "The link with all values is copied.";
  } catch { /* the address bar has it */ }
  el("copy").textContent = "Link copied";
  el("copy").title = told;
  setTimeout(() => (el("copy").textContent = "Copy link"), 1500);
};
const shown = {
  fields: showFields,
  // an answer to an earlier message says nothing of a later one that was wrong
  answer: (data) => { if (data.n >= wrongAt) say("", ""); showAnswer(data); },
  wrong: (data) => { wrongAt = number; say(data.name, data.sentence); },
  required: (data) => { el("require").value = data.text; say("drink", ""); say("require", ""); },
  slopes: (data) => {
    el("slopes").hidden = false;
    el("slopes").tBodies[0].replaceChildren(...cells(data.rows));
    el("rank").textContent = "Rank the inputs";
  },
  save, link: copy,
};
outbox.properties.value.change.connect(() => {
  const data = JSON.parse(outbox.value);
  shown[data.kind](data);
});

for (const name of ["undo", "reset", "save", "report"])
  el(name).addEventListener("click", () => send({ do: name }));
el("copy").addEventListener("click", () => send({ do: "link" }));
el("pin").addEventListener("click", () =>
  send({ do: el("pin").getAttribute("aria-pressed") === "true" ? "unpin" : "pin" }));
el("rank").addEventListener("click", () => {
  send({ do: "rank" });
  el("rank").textContent = "Ranking";
});
el("require").addEventListener("change", () => {
  say("require", "");
  send({ do: "require", name: "require", text: el("require").value });
});
el("drink").addEventListener("click", () => {
  say("drink", "");
  send({ do: "drink", name: "drink", carbonation: el("carbonation").value, stage: el("stage").value });
});
el("upload").addEventListener("change", async () => {
  const file = el("upload").files[0];
  if (!file) return;
  if (file.size > 256000) say("", `the file has ${Math.round(file.size / 1000)} kB; it must have at most 256 kB`);
  else send({ do: "upload", text: await file.text() });
  el("upload").value = "";
});

// figures in the page's colours, light or dark
const dark = matchMedia("(prefers-color-scheme: dark)");
const paint = () => {
  const css = getComputedStyle(document.documentElement);
  const [sheet, ink, line] = ["--sheet", "--ink", "--line"].map((v) => css.getPropertyValue(v).trim());
  const put = (model, names, value) =>
    // for this screen only: the server need not know
    model.setv(Object.fromEntries(names.map((name) => [name, value])), { sync: false });
  const text = ["axis_label_text_color", "major_label_text_color", "axis_line_color",
    "major_tick_line_color", "minor_tick_line_color"];
  for (const plot of [section, path]) {
    put(plot, ["background_fill_color", "border_fill_color"], sheet);
    put(plot, ["outline_line_color"], line);
    for (const one of plot.renderers) {
      const names = ["line_color", "fill_color"].filter((name) => name in one.glyph.properties);
      put(one.glyph, names, css.getPropertyValue(`--${one.name}`).trim());
    }
    for (const part of [...plot.below, ...plot.left, ...plot.center, ...plot.right]) {
      if (part.type === "Grid") put(part, ["grid_line_color"], line);
      if (part.type === "LinearAxis") put(part, text, ink);
      if (part.type === "Span") put(part, ["line_color"], ink);
      if (part.type === "Legend") {
        put(part, ["label_text_color"], ink);
        put(part, ["background_fill_color"], sheet);
        put(part, ["border_line_color"], null);
      }
    }
  }
};
dark.addEventListener("change", paint);
paint();
send({ do: "start" });
};

const find = () => {
  const page = window.Bokeh && Bokeh.documents[0];
  const names = ["inbox", "outbox", "section", "path"];
  const found = page ? names.map((name) => page.get_model_by_name(name)) : [null];
  if (found.every((model) => model !== null)) begin(...found);
  else setTimeout(find, 30);
};
find();
