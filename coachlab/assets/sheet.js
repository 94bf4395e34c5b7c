// Shows a list of parts that Python describes (texts, fields, buttons, tables, a strip of shots) and tells it what was
// done with them. It knows nothing of lessons or files: the same sheet serves every panel.

const SVG = "http://www.w3.org/2000/svg";
let sheets = 0;

const KEYED = new Set(["select", "input", "textarea", "button", "summary"]);

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    element.setAttribute(name, value === true ? "" : value);
  }
  // JupyterLab would take arrow keys and Enter for itself; it looks for this on the element that has the focus
  if (KEYED.has(tag)) element.setAttribute("data-lm-suppress-shortcuts", "true");
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return element;
}

function draw(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

// Fields ---------------------------------------------------------------------------------------------------------------

const INPUTS = {
  choice(field, id, tell) {
    const select = make("select", { id, "data-key": `field ${field.name}`, disabled: field.disabled });
    for (const option of field.options) {
      const [value, words, off] = option;
      select.append(make("option", { value, disabled: Boolean(off) }, words));
    }
    select.value = field.value ?? "";
    select.addEventListener("change", () => tell("set", { [field.name]: select.value }));
    return select;
  },
  number(field, id, tell) {
    const { min, max, step } = field;
    const key = `field ${field.name}`;
    const input = make("input", { id, type: "number", inputmode: "decimal", min, max, step, "data-key": key, disabled: field.disabled });
    input.value = field.value ?? "";
    input.addEventListener("change", () => tell("set", { [field.name]: input.value === "" ? null : Number(input.value) }));
    return input;
  },
  text(field, id, tell) {
    const tag = field.lines ? "textarea" : "input";
    const attributes = field.lines ? { rows: field.lines } : { type: "text" };
    const input = make(tag, { ...attributes, id, "data-key": `field ${field.name}`, spellcheck: "false", disabled: field.disabled });
    input.value = field.value ?? "";
    input.addEventListener("change", () => tell("set", { [field.name]: input.value }));
    return input;
  },
};

function fieldOf(field, place, tell) {
  const id = `${place} ${field.name}`.replace(/[^\w-]+/g, "-");
  const hint = field.hint ? make("span", { class: "sheet-hint", id: `${id}-hint` }, field.hint) : null;
  if (field.kind === "check") {
    const box = make("input", { id, type: "checkbox", "data-key": `field ${field.name}`, disabled: field.disabled });
    box.checked = Boolean(field.value);
    box.addEventListener("change", () => tell("set", { [field.name]: box.checked }));
    return make("div", { class: "sheet-check" }, box, make("label", { for: id }, field.label), hint);
  }
  if (field.kind === "several" || field.kind === "one") {
    const type = field.kind === "one" ? "radio" : "checkbox";
    const group = make("fieldset", { class: `sheet-several${field.wide ? " sheet-wide" : ""}` }, make("legend", {}, field.label), hint);
    const boxes = field.options.map(([value, words, off, more], number) => {
      const box = make("input", { id: `${id}-${number}`, type, name: id, "data-key": `field ${field.name} ${value}`, disabled: off });
      box.value = value;
      box.checked = field.kind === "one" ? value === field.value : field.value.includes(value);
      box.addEventListener("change", () => {
        const chosen = boxes.filter((one) => one.checked).map((one) => one.value);
        tell("set", { [field.name]: field.kind === "one" ? chosen[0] : chosen });
      });
      const label = make("label", { for: box.id }, words);
      if (more) label.append(make("small", {}, more));
      group.append(make("div", { class: "sheet-check" }, box, label));
      return box;
    });
    return group;
  }
  const input = INPUTS[field.kind](field, id, tell);
  if (hint) input.setAttribute("aria-describedby", hint.id);
  if (field.hidden_label) input.setAttribute("aria-label", field.label);
  const label = field.hidden_label ? null : make("label", { for: id }, field.label);
  return make("div", { class: `sheet-field${field.wide ? " sheet-wide" : ""}${field.short ? " sheet-short" : ""}` }, label, input, hint);
}

function buttonOf(button, tell) {
  const kind = button.main ? "sheet-main" : button.stop ? "sheet-stop" : button.plain ? "sheet-plain" : "";
  const element = make(
    "button",
    { type: "button", class: kind, "data-key": `button ${button.name} ${button.row ?? ""}`, disabled: button.disabled, "aria-label": button.full },
    button.label,
  );
  element.addEventListener("click", () => tell(button.name, "row" in button ? { row: button.row } : {}));
  return element;
}

// Parts ----------------------------------------------------------------------------------------------------------------

const PARTS = {
  title: (part) => {
    const title = make("h2", { tabindex: "-1" }, part.text);
    return part.sub ? make("header", {}, title, make("p", { class: "sheet-quiet" }, part.sub)) : title;
  },
  heading: (part) => make("h3", {}, part.text),
  steps: (part) => {
    const items = part.names.map((name, place) =>
      make("li", { class: place < part.at ? "sheet-past" : "", "aria-current": place === part.at ? "step" : null }, `${place + 1}. ${name}`),
    );
    return make("ol", { class: "sheet-steps", "aria-label": "Steps" }, ...items);
  },
  text: (part) => {
    const tone = part.tone ? `sheet-${part.tone}` : "";
    const lines = (Array.isArray(part.text) ? part.text : [part.text]).map((line) => make("p", {}, line));
    return make("div", { class: `sheet-text ${tone}`, role: part.tone === "trouble" ? "alert" : null }, ...lines);
  },
  fields: (part, place, tell) => {
    const fields = part.fields.map((field) => fieldOf(field, place, tell));
    const body = make("div", { class: "sheet-fields" }, ...fields);
    return part.legend ? make("fieldset", {}, make("legend", {}, part.legend), body) : body;
  },
  buttons: (part, place, tell) => {
    const notes = part.buttons.filter((button) => button.why).map((button) => make("span", { class: "sheet-hint" }, button.why));
    return make("div", { class: "sheet-buttons" }, ...part.buttons.map((button) => buttonOf(button, tell)), ...notes);
  },
  table: (part, place, tell) => {
    const cellOf = (cell, head, tag = "td") => {
      const attributes = { class: head.number ? "sheet-number" : "", scope: tag === "th" ? "row" : null };
      if (cell === null || typeof cell !== "object") return make(tag, attributes, String(cell ?? ""));
      if (cell.buttons) return make(tag, attributes, ...cell.buttons.map((button) => buttonOf(button, tell)));
      if (cell.field) return make(tag, attributes, fieldOf({ ...cell.field, hidden_label: true }, place, tell));
      return make(tag, { ...attributes, class: `${attributes.class} sheet-${cell.tone ?? ""}` }, cell.text, ...(cell.small ? [make("small", {}, cell.small)] : []));
    };
    const heads = part.heads.map((head) => make("th", { scope: "col", class: head.number ? "sheet-number" : "" }, head.text));
    const rows = part.rows.map((row, number) => {
      const cells = row.map((cell, column) => cellOf(cell, part.heads[column], column === 0 && !part.plain ? "th" : "td"));
      return make("tr", { class: part.marked === number ? "sheet-marked" : "" }, ...cells);
    });
    const table = make("table", { class: part.stack ? "sheet-stack" : "" }, make("caption", {}, part.caption), make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...rows));
    if (part.stack) {
      table.querySelectorAll("tbody tr").forEach((row) => {
        [...row.children].forEach((cell, column) => cell.setAttribute("data-head", part.heads[column].text));
      });
    }
    return make("div", { class: "sheet-scroll", tabindex: "0", role: "region", "aria-label": part.caption }, table);
  },
  fold: (part, place, tell) => {
    const body = part.parts.map((inner, number) => PARTS[inner.kind](inner, `${place}-${number}`, tell));
    // a caption that only repeats the fold's label is for screen readers
    body.forEach((inner) => inner.querySelectorAll("caption").forEach((one) => one.classList.toggle("sheet-said", part.label.startsWith(one.textContent))));
    return make("details", { open: part.open }, make("summary", { "data-key": `fold ${part.label}` }, part.label), ...body);
  },
  strip: (part, place, tell) => stripOf(part, tell),
};

// The strip of shots: pick a run by pointer, or move its two ends by keyboard -------------------------------------------

function stripOf(part, tell) {
  const figure = make("figure", { class: "sheet-strip" });
  const numbers = part.shots.map((shot) => shot.n);
  figure.shots = `${part.label} ${numbers}`;
  const [low, high] = [numbers[0], numbers[numbers.length - 1]];
  let [first, last] = part.selected;
  let anchor = null;
  let timer = 0;

  const svg = draw("svg", { role: "group", "aria-label": part.label });
  figure.append(svg, make("figcaption", {}, part.caption));

  const values = part.shots.filter((shot) => shot.y !== null).map((shot) => shot.y);
  const ends = part.blocks.flatMap((block) => (block.mean === null ? [] : [block.mean - block.sd, block.mean + block.sd]));
  const bottom = Math.min(...values, ...ends);
  const top = Math.max(...values, ...ends);
  const air = (top - bottom || 1) * 0.08;
  const nearest = (number) => numbers.reduce((best, n) => (Math.abs(n - number) < Math.abs(best - number) ? n : best), low);
  const describe = (n) => {
    const shot = part.shots.find((one) => one.n === n);
    return `shot ${n}${shot && shot.text ? `, ${shot.text}` : ""}`;
  };

  let width = 0;
  let x = () => 0;
  let choose = () => {};

  const send = () => { timer = 0; tell("select", { first, last }); };
  const later = () => { clearTimeout(timer); timer = setTimeout(send, 250); };

  function layOut() {
    const wide = Math.round(figure.clientWidth);
    if (!wide || wide === width) return;
    width = wide;
    const height = 262;
    const box = { left: 46, right: width - 8, top: 36, bottom: height - 46 };
    const scale = (box.right - box.left) / (high - low + 1);
    x = (n) => box.left + (n - low + 0.5) * scale;
    const y = (v) => box.bottom - ((v - bottom + air) / (top - bottom + 2 * air)) * (box.bottom - box.top);
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.setAttribute("height", height);
    svg.replaceChildren();

    for (const block of part.blocks) {
      const [from, to] = [x(block.first) - scale / 2, x(block.last) + scale / 2];
      const bounds = { x: from + 1, y: box.top, width: Math.max(to - from - 2, 1), height: box.bottom - box.top };
      const group = draw("g", { class: `strip-block strip-${block.tone}` }, draw("rect", bounds));
      if (block.mean !== null) {
        const spread = { x: bounds.x, width: bounds.width, y: y(block.mean + block.sd), height: Math.max(y(block.mean - block.sd) - y(block.mean + block.sd), 1) };
        group.append(draw("rect", { class: "strip-spread", ...spread }));
        group.append(draw("line", { class: "strip-mean", x1: bounds.x, x2: bounds.x + bounds.width, y1: y(block.mean), y2: y(block.mean) }));
      }
      const words = bounds.width > 7 * block.label.length ? block.label : block.short;
      const label = draw("text", { x: from + 3, y: box.top - 6 }, words);
      if (bounds.width > 7 * words.length || block.short === words) group.append(label);
      group.append(draw("title", {}, `${block.label}, shots ${block.first} to ${block.last}`));
      svg.append(group);
    }
    const step = Math.max(1, Math.round((high - low) / Math.min(12, width / 60) / 5) * 5);
    for (let n = Math.ceil(low / step) * step; n <= high; n += step) {
      svg.append(draw("text", { class: "strip-tick", x: x(n), y: box.bottom + 16, "text-anchor": "middle" }, String(n)));
    }
    const grid = (top - bottom) / 4 > 2.5 ? 5 : (top - bottom) / 4 > 1 ? 2 : 1;
    for (let v = Math.ceil((bottom - air) / grid) * grid; v <= top + air; v += grid) {
      svg.append(draw("line", { class: "strip-grid", x1: box.left, x2: box.right, y1: y(v), y2: y(v) }));
      svg.append(draw("text", { class: "strip-tick", x: box.left - 6, y: y(v) + 4, "text-anchor": "end" }, `${v}`.replace("-", "−") + part.unit));
    }
    svg.append(draw("text", { class: "strip-tick", x: box.right, y: 12, "text-anchor": "end" }, part.across));
    svg.append(draw("text", { class: "strip-tick", x: 0, y: 12 }, part.up));
    for (const n of part.pauses) svg.append(draw("line", { class: "strip-pause", x1: x(n) - scale / 2, x2: x(n) - scale / 2, y1: box.top, y2: box.bottom + 5 }));

    const chosen = draw("rect", { class: "strip-chosen", y: box.top, height: box.bottom - box.top });
    svg.append(chosen);
    for (const shot of part.shots) {
      const mark = shot.y === null
        ? draw("path", { class: "strip-lost", d: `M${x(shot.n) - 3},${box.bottom - 7}l6,6m0,-6l-6,6` })
        : draw("circle", { class: shot.ok ? "strip-shot" : "strip-shot strip-aside", cx: x(shot.n), cy: y(shot.y), r: Math.min(4, scale / 2.2) });
      mark.append(draw("title", {}, describe(shot.n)));
      svg.append(mark);
    }
    const handles = [0, 1].map((end) => {
      const name = end ? "Last shot of the run" : "First shot of the run";
      const handle = draw(
        "g",
        { class: "strip-handle", role: "slider", tabindex: "0", "aria-label": name, "aria-valuemin": low, "aria-valuemax": high, "data-key": `strip ${end}` },
        draw("line", { y1: box.top - 2, y2: box.bottom + 24 }),
        draw("path", { d: "M-7,0h14v-8l-7,-7l-7,7z", transform: `translate(0 ${box.bottom + 38})` }),
      );
      handle.addEventListener("keydown", (event) => moveBy(event, end));
      handle.addEventListener("pointerdown", () => { anchor = end ? first : last; });
      svg.append(handle);
      return handle;
    });

    choose = () => {
      chosen.setAttribute("x", x(first) - scale / 2);
      chosen.setAttribute("width", x(last) - x(first) + scale);
      handles.forEach((handle, end) => {
        const n = end ? last : first;
        handle.setAttribute("transform", `translate(${x(n) + (end ? scale / 2 : -scale / 2)} 0)`);
        handle.setAttribute("aria-valuenow", n);
        handle.setAttribute("aria-valuetext", describe(n));
      });
    };
    choose();
  }

  function moveBy(event, end) {
    const here = numbers.indexOf(nearest(end ? last : first));
    const jump = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 5, PageDown: -5 }[event.key];
    const goal = event.key === "Home" ? 0 : event.key === "End" ? numbers.length - 1 : jump === undefined ? null : here + jump;
    if (goal === null) return;
    event.preventDefault();
    const n = numbers[Math.min(Math.max(goal, 0), numbers.length - 1)];
    if (end) { last = n; first = Math.min(first, n); } else { first = n; last = Math.max(last, n); }
    choose();
    later();
  }

  const shotAt = (event) => {
    const bounds = svg.getBoundingClientRect();
    const across = ((event.clientX - bounds.left) / bounds.width) * width;
    return numbers.reduce((best, n) => (Math.abs(x(n) - across) < Math.abs(x(best) - across) ? n : best), low);
  };
  const extend = (event) => {
    const n = shotAt(event);
    [first, last] = [Math.min(anchor, n), Math.max(anchor, n)];
    choose();
  };
  svg.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    if (anchor === null) anchor = shotAt(event);
    svg.setPointerCapture(event.pointerId);
    extend(event);
  });
  svg.addEventListener("pointermove", (event) => { if (anchor !== null) extend(event); });
  svg.addEventListener("pointerup", () => { if (anchor !== null) { anchor = null; send(); } });
  svg.addEventListener("pointercancel", () => { anchor = null; [first, last] = part.selected; choose(); });

  const watcher = new ResizeObserver(layOut);
  watcher.observe(figure);
  figure.remove_sheet = () => { watcher.disconnect(); clearTimeout(timer); };
  figure.tell_now = () => { if (timer) { clearTimeout(timer); send(); } };
  // an answer to an earlier move takes nothing back from a hand that has moved on
  figure.moved_on = (behind) => (timer || behind ? { first, last, due: timer !== 0 } : null);
  figure.move_on = (run) => { ({ first, last } = run); choose(); if (run.due) later(); };
  return figure;
}

// The sheet ------------------------------------------------------------------------------------------------------------

export default {
  render({ model, el }) {
    const sheet = `sheet-${(sheets += 1)}`;
    const body = make("div", { class: "sheet-body" });
    const live = make("p", { class: "sheet-said", role: "status", "aria-live": "polite" });
    const root = make("div", { class: "sheet", "data-lm-suppress-shortcuts": "true" }, body, live);
    el.append(root);
    let shown = [];

    // what takes long is said aloud; Python answers each action, and the sheet is free again
    let waiting = 0;
    let timer = 0;
    const busy = (on) => {
      waiting = Math.max(waiting + (on ? 1 : -1), 0);
      clearTimeout(timer);
      if (waiting) timer = setTimeout(() => { root.classList.add("sheet-busy"); root.setAttribute("aria-busy", "true"); }, 200);
      else { root.classList.remove("sheet-busy"); root.removeAttribute("aria-busy"); }
    };
    let moves = 0;
    const tell = (action, values) => {
      // what is done to a run is done to the run in sight
      if (action === "select") moves += 1;
      else body.querySelector(".sheet-strip")?.tell_now();
      busy(true);
      model.send({ action, values });
    };
    const answered = (content) => {
      if (content.answered === "select") moves = Math.max(moves - 1, 0);
      if (content.answered) busy(false);
    };
    model.on("msg:custom", answered);

    const show = () => {
      const parts = model.get("parts").map((part) => JSON.stringify(part));
      const focused = root.contains(document.activeElement) ? document.activeElement : null;
      const key = focused?.closest("[data-key]")?.getAttribute("data-key");
      const open = new Set([...body.querySelectorAll("details[open] > summary")].map((one) => one.textContent));
      const kept = new Map();
      shown.forEach(({ text, node }) => kept.set(text, [...(kept.get(text) ?? []), node]));
      const next = parts.map((text, place) => {
        const same = kept.get(text)?.shift();
        if (same) return { text, node: same };
        const part = JSON.parse(text);
        const node = make("div", { class: `sheet-part sheet-is-${part.kind}` }, PARTS[part.kind](part, `${sheet}-${place}`, tell));
        node.querySelectorAll("details").forEach((one) => { if (open.has(one.querySelector("summary").textContent)) one.open = true; });
        return { text, node };
      });
      kept.forEach((nodes) => nodes.forEach((node) => {
        const strip = node.querySelector(".sheet-strip");
        const run = strip?.moved_on(moves > 1);
        // the next strip is of the same shots, or the run means nothing there
        if (run) next.map((one) => one.node.querySelector(".sheet-strip")).find((one) => one?.shots === strip.shots)?.move_on(run);
        strip?.remove_sheet();
        node.remove();
      }));
      next.forEach(({ node }, place) => {
        if (body.children[place] !== node) body.insertBefore(node, body.children[place] ?? null);
      });
      shown = next;
      if (focused && !root.contains(document.activeElement)) {
        const again = key && [...body.querySelectorAll("[data-key]")].find((one) => one.getAttribute("data-key") === key && !one.disabled);
        (again || body.querySelector("h2"))?.focus({ preventScroll: Boolean(again) });
      }
    };
    const say = () => { if (live.textContent !== model.get("said")) live.textContent = model.get("said"); };

    model.on("change:parts", show);
    model.on("change:said", say);
    show();
    say();
    return () => {
      model.off("msg:custom", answered);
      model.off("change:parts", show);
      model.off("change:said", say);
      body.querySelectorAll(".sheet-strip").forEach((strip) => strip.remove_sheet());
    };
  },
};
