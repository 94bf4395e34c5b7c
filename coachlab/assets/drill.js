// Predict, then see: the form in which a question is answered, or a group explained. It shows what Python sends and
// tells Python what the trainee does, by messages; it computes nothing. The trainee's own word is sent once and kept in
// no state of the widget.

let forms = 0;
const KEYED = new Set(["input", "select", "button", "summary"]);

function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name in element && name !== "list") element[name] = value;
    else element.setAttribute(name, value);
  }
  // JupyterLab would take arrow keys and Enter for itself; it looks for this on the element that has the focus
  if (KEYED.has(tag)) element.setAttribute("data-lm-suppress-shortcuts", "true");
  element.append(...children.filter((child) => child !== null));
  return element;
}

/** Enter in a text field sends its form; in JupyterLab it does not do so by itself. */
function sendOnEnter(input) {
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    event.preventDefault();
    input.form.requestSubmit();
  });
}

function render({ model, el }) {
  forms += 1;
  const id = (name) => `drill-${forms}-${name}`;
  const tell = (what, more = {}) => model.send({ what, ...more });

  // Who, which group, and whether to be asked or told

  const word = make("input", { type: "text", id: id("word"), autocomplete: "off", maxLength: 60, spellcheck: false });
  sendOnEnter(word);
  const keep = make("button", { type: "submit" }, "Keep my answers");
  const known = make("p", { className: "drill-known", "aria-live": "polite" });
  const kept = make("summary", {});
  const wordForm = make(
    "form",
    {},
    make("label", { htmlFor: word.id }, "A word of your own, not your name"),
    word,
    keep,
    known,
  );
  const who = make("details", { className: "drill-who" }, kept, wordForm);
  wordForm.addEventListener("submit", (event) => {
    event.preventDefault();
    tell("who", { word: word.value });
    word.value = "";
  });

  const group = make(
    "select",
    { id: id("group") },
    ...model.get("groups").map(([value, label]) => make("option", { value }, label)),
  );
  group.addEventListener("change", () => tell("group", { group: group.value }));
  const ask = make("button", { type: "button" }, "Ask me");
  const explain = make("button", { type: "button" }, "Explain it first");
  ask.addEventListener("click", () => tell("ask"));
  explain.addEventListener("click", () => tell("explain"));
  const choice = make(
    "div",
    { className: "drill-choice" },
    make("label", { htmlFor: group.id }, "About"),
    group,
    make("span", { className: "drill-modes" }, ask, explain),
  );

  const trouble = make("p", { className: "drill-trouble", role: "alert", hidden: true });
  const body = make("div", { className: "drill-body" });
  const marking = make("div", { className: "drill-marking", "aria-live": "polite" });
  const next = make("button", { type: "button", className: "drill-next", hidden: true }, "Next question");
  next.addEventListener("click", () => tell("ask"));
  const root = make(
    "section",
    { className: "drill", "aria-label": "Predict, then see" },
    choice,
    who,
    trouble,
    body,
    marking,
    next,
  );
  el.append(root);

  // A question and its answer

  function givenTable(rows) {
    return make(
      "dl",
      { className: "drill-given", "aria-label": "What is known" },
      ...rows.map(([label, value]) => make("div", {}, make("dt", {}, label), make("dd", {}, value))),
    );
  }

  function options(question) {
    return make(
      "fieldset",
      {},
      make("legend", {}, "Choose one"),
      ...question.options.map((text, at) => {
        const radio = make("input", { type: "radio", name: id("option"), value: String(at), required: true });
        return make("label", { className: "drill-option" }, radio, make("span", {}, text));
      }),
    );
  }

  function amount(question) {
    const input = make("input", { type: "text", inputMode: "decimal", id: id("amount"), autocomplete: "off", required: true });
    sendOnEnter(input);
    const side = question.sides.length
      ? make(
          "select",
          { id: id("side"), "aria-label": "to which side" },
          ...question.sides.map((text, at) => make("option", { value: at ? "-1" : "1" }, text)),
        )
      : null;
    const label = make("label", { htmlFor: input.id }, "Your answer");
    return make("div", { className: "drill-amount" }, label, input, make("span", {}, question.unit), side);
  }

  function showQuestion() {
    const question = model.get("question");
    marking.replaceChildren();
    next.hidden = true;
    if (!question.text) return body.replaceChildren();
    const send = make("button", { type: "submit" }, "Answer, then see");
    const form = make(
      "form",
      { className: "drill-question", "aria-labelledby": id("title") },
      make("p", { className: "drill-kind" }, question.kind),
      make("h3", { id: id("title") }, question.title),
      make("p", { className: "drill-text", id: id("text") }, question.text),
      question.given.length ? givenTable(question.given) : null,
      question.options.length ? options(question) : amount(question),
      send,
    );
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const chosen = form.querySelector("input[type=radio]:checked");
      if (question.options.length) {
        if (chosen) tell("answer", { place: Number(chosen.value) });
      } else {
        const side = form.querySelector("select");
        tell("answer", { amount: form.querySelector("input").value, side: side ? Number(side.value) : 1 });
      }
    });
    body.replaceChildren(form);
    return null;
  }

  function showMarking() {
    const { right, verdict, why, look, place } = model.get("marking");
    if (!verdict) return marking.replaceChildren();
    const inputs = [...body.querySelectorAll("input, select, button")];
    inputs.forEach((input) => (input.disabled = true));
    body.querySelector("button[type=submit]").hidden = true;
    body.querySelectorAll(".drill-option").forEach((label, at) => label.classList.toggle("drill-right", at === place));
    marking.replaceChildren(
      make("p", { className: right ? "drill-yes" : "drill-no" }, verdict),
      make("p", {}, why),
      make("p", { className: "drill-look" }, look),
    );
    next.hidden = false;
    next.focus({ preventScroll: true });
    return null;
  }

  // A group explained

  function showPage() {
    const page = model.get("page");
    if (!page.title) return;
    marking.replaceChildren();
    next.hidden = true;
    const steps = page.steps.map(([text, show], at) => {
      const button = make("button", { type: "button" }, `Show: ${show}`);
      button.addEventListener("click", () => {
        tell("show", { step: at });
        // on a phone the flight stands far below the words
        el.closest(".coachlab-panel")?.querySelector(".fp-flights")?.scrollIntoView({ block: "nearest" });
      });
      return make("li", {}, make("p", {}, text), button);
    });
    body.replaceChildren(
      make("h3", {}, page.title),
      make("p", { className: "drill-text" }, page.question),
      make("ol", { className: "drill-steps" }, ...steps),
    );
  }

  // What Python says

  function showState() {
    const student = model.get("student");
    kept.textContent = student ? `Answers are kept as ${student}` : "Answers are not kept";
    known.textContent = student
      ? `The word itself is written nowhere. Next time give it again, or ${student}.`
      : model.get("keeps")
        ? "With one, your weak links are known next time. Without one you can answer all the same."
        : "Nothing is kept here: no folder was given.";
    const explaining = Boolean(model.get("page").title);
    ask.setAttribute("aria-pressed", String(!explaining));
    explain.setAttribute("aria-pressed", String(explaining));
    group.value = model.get("group");
    const words = model.get("trouble");
    trouble.textContent = words;
    trouble.hidden = !words;
    word.disabled = keep.disabled = !model.get("keeps");
  }

  const heard = {
    question: () => model.get("page").title || showQuestion(),
    marking: showMarking,
    page: () => {
      if (model.get("page").title) showPage();
      else showQuestion();
      showState();
    },
    student: showState,
    group: showState,
    trouble: showState,
  };
  for (const [name, act] of Object.entries(heard)) model.on(`change:${name}`, act);
  if (model.get("page").title) showPage();
  else showQuestion();
  showMarking();
  showState();
  return () => {
    for (const [name, act] of Object.entries(heard)) model.off(`change:${name}`, act);
  };
}

export default { render };
