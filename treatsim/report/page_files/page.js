// The page: dials, the answer, limits, what would help, numbers; all read from the series.

const told = JSON.parse(document.getElementById("told").textContent);
const byId = (id) => document.getElementById(id);

const page = {
  ...told,
  train: new Train(told.train),
  show: (x, kind) => x * told.units[kind].factor + told.units[kind].offset,
  hide: (x, kind) => (x - told.units[kind].offset) / told.units[kind].factor,
  text(x, kind, digits) {
    const { unit } = told.units[kind];
    let shown = page.show(x, kind);
    if (Math.abs(shown) < 1e-9) shown = 0;
    return `${plain(shown, digits)} ${unit}`.trim();
  },
  label: (dial) => `${dial.address}${told.units[dial.kind].unit ? `, ${told.units[dial.kind].unit}` : ""}`,
  isInside: (settings) =>
    told.dials.every((dial) => inside(settings[dial.address], [dial.low, dial.high])),
};
const settings = Object.fromEntries(page.dials.map((dial) => [dial.address, dial.now]));

// A number to so many digits, without needless zeros; 37400 reads better than 3.74e+4.
function plain(number, digits) {
  if (!Number.isFinite(number)) return String(number);
  const rounded = Number(number.toPrecision(digits));
  const size = Math.abs(rounded);
  if (size !== 0 && (size < 1e-4 || size >= 1e6)) {
    const [head, power] = rounded.toExponential().split("e");
    return `${head}e${power[0]}${power.slice(1).padStart(2, "0")}`;
  }
  return String(rounded);
}

// Value and limit with the digits it takes to look as kept, or missed, as it is.
function weighed({ value, asked, limit, state, margin }) {
  const kept = state === MET || (state === NEAR && margin >= 0);
  const texts = (digits) => [value, asked].map((x) => page.text(x, limit.kind, digits));
  for (let digits = 3; digits < 12; digits += 1) {
    const shown = texts(digits), [a, b] = shown.map(parseFloat);
    if ((limit.relation === ">=" ? a >= b : a <= b) === kept) return shown;
  }
  return texts(3);
}

function put(parent, tag, text = "", name = "") {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (name) made.className = name;
  parent.append(made);
  return made;
}

const MARKS = { [MET]: "✓", [NOT_MET]: "✗", [NEAR]: "≈", [NOT_JUDGED]: "?", [WAIVED]: "–" };
const ORDER = [NOT_MET, NEAR, NOT_JUDGED, WAIVED, MET];

// One dial: a slider for turning, a number for typing, and where the case stands.
function makeDial(dial, index) {
  const box = put(byId(dial.read ? "read" : "turned"), "div", "", "dial");
  const label = put(box, "label", "", "name");
  const address = put(label, "span", "", "address");
  for (const part of dial.address.split(/(?<=[._])/)) address.append(part, document.createElement("wbr"));
  put(label, "span", dial.words, "meaning");
  label.htmlFor = `dial-${index}`;
  const [low, high, now] = ["low", "high", "now"].map((key) => page.show(dial[key], dial.kind));
  const step = 10 ** Math.floor(Math.log10((high - low) / 40));
  const first = now - Math.floor((now - low) / step + 1e-9) * step;
  const slider = put(box, "input");
  Object.assign(slider, { type: "range", id: `dial-${index}`, step, min: first,
    max: first + Math.floor((high - first) / step + 1e-9) * step, value: now });
  const entry = put(box, "span", "", "entry");
  const number = put(entry, "input");
  Object.assign(number, { type: "number", step: "any", id: `number-${index}`, value: plain(now, 6) });
  number.setAttribute("aria-label", `${dial.address}, as a number`);
  number.setAttribute("aria-describedby", `range-${index}`);
  put(entry, "span", page.units[dial.kind].unit, "unit");
  const range = put(box, "p", page.words.carried
    .replace("{low}", page.text(dial.low, dial.kind, 3))
    .replace("{high}", page.text(dial.high, dial.kind, 3))
    .replace("{now}", page.text(dial.now, dial.kind, 4)) + (dial.cut ? page.words.cut : ""), "range");
  range.id = `range-${index}`;
  slider.setAttribute("aria-describedby", range.id);
  const turn = (shown, from) => {
    const near = Math.abs(shown - now) < 1e-6 * step;
    settings[dial.address] = near ? dial.now : page.hide(shown, dial.kind);
    const isKnown = inside(settings[dial.address], [dial.low, dial.high]);
    number.setAttribute("aria-invalid", String(!isKnown));
    slider.setAttribute("aria-valuetext", page.text(settings[dial.address], dial.kind, 4));
    if (from !== slider) slider.value = shown;
    if (from !== number) number.value = plain(shown, 6);
    answer();
  };
  slider.addEventListener("input", () => turn(Number(slider.value), slider));
  number.addEventListener("input", () => turn(number.value === "" ? NaN : Number(number.value), number));
  dial.reset = () => turn(now, null);
  slider.setAttribute("aria-valuetext", page.text(dial.now, dial.kind, 4));
}

function tellVerdict(now) {
  const box = byId("verdict");
  box.className = now.state;
  const counts = [[MET, "met"], [NOT_MET, "NOT MET"], [NEAR, page.words.near],
    [NOT_JUDGED, "not judged"], [WAIVED, "waived"]]
    .map(([state, words]) => [now.rows.filter((row) => row.state === state).length, words])
    .filter(([count]) => count);
  const relied = now.rows.some((row) => isMissed(row) && ["duty", "health"].includes(row.limit.group));
  const sentence = now.state === "outside" ? page.words.outside
    : relied ? page.words.unfit : page.words.verdicts[now.state === NEAR ? NOT_MET : now.state];
  const total = counted(page.limits.length, "limit");
  const head = now.state === "outside" ? page.words.unknown
    : `ANSWER  ${total}: ${counts.map(([count, words]) => `${count} ${words}`).join(", ")}`;
  byId("count").textContent = head;
  byId("sentence").textContent = sentence;
}

function tellLimits(now) {
  const list = byId("limits");
  list.replaceChildren();
  const rows = [...now.rows].sort((a, b) =>
    ORDER.indexOf(a.state) - ORDER.indexOf(b.state) || a.margin - b.margin);
  for (const row of rows) {
    const item = put(list, "li", "", row.state);
    const mark = put(item, "span", MARKS[row.state], "mark");
    mark.setAttribute("aria-hidden", "true");
    const words = put(item, "span", "", "words");
    put(words, "b", page.words.states[row.state]);
    put(words, "span", ` ${row.limit.name}`);
    const known = row.state !== NOT_JUDGED && row.state !== WAIVED;
    const why = row.state === WAIVED ? row.limit.waived : row.limit.needs;
    put(item, "span", known ? weighed(row).join(` ${row.limit.relation} `) : why, "number");
  }
}

function tellHelp(now) {
  const lines = now.state === "outside" ? [] : helpful(page, settings, now);
  byId("help").hidden = now.state !== "outside" && !now.rows.some(isMissed);
  const list = byId("helping");
  list.replaceChildren();
  for (const line of lines) put(list, "li", line);
  if (!lines.length) put(list, "li", page.words.noHelp);
}

function tellNumbers(now) {
  page.answers.forEach((row, n) => {
    const value = now.state === "outside" ? NaN : now.reading.value(row.address);
    const isBound = row.address.endsWith(".largest_flow"); // told so that it is kept
    const shown = isBound ? page.hide(beyond(page.show(value, row.kind), false), row.kind) : value;
    byId(`answer-${n}`).textContent = Number.isNaN(value) ? page.words.notHere
      : page.text(shown, row.kind, 3);
  });
}

// Frames: the numbers at once, the window when the browser next draws.
let asked = 0;
function answer() {
  const start = performance.now();
  const now = verdict(page.limits, page.train, settings, page.isInside);
  tellVerdict(now);
  tellLimits(now);
  tellHelp(now);
  tellNumbers(now);
  page.seconds = (performance.now() - start) / 1000;
  if (!asked) asked = requestAnimationFrame(drawWindow);
}

function drawWindow() {
  asked = 0;
  const start = performance.now();
  if (page.isInside(settings)) {
    const [x, y] = ["across", "up"].map((id) => byId(id).value);
    byId("window-words").textContent = page.window.draw(settings, x, y);
  } else byId("window-words").textContent = page.words.outside;
  page.windowSeconds = (performance.now() - start) / 1000;
}

function makeChoice(id, chosen) {
  for (const dial of page.dials) {
    const option = put(byId(id), "option", dial.address);
    option.value = dial.address;
    option.selected = dial.address === chosen;
  }
  byId(id).addEventListener("change", answer);
}

page.dials.forEach(makeDial);
makeChoice("across", page.axes[0]);
makeChoice("up", page.axes[1]);
page.answers.forEach((row, n) => {
  const line = put(byId("answers"), "tr");
  put(line, "th", row.words).scope = "row";
  put(line, "td").id = `answer-${n}`;
});
byId("reset").addEventListener("click", () => page.dials.forEach((dial) => dial.reset()));
page.window = new OperatingWindow(page, page.figure);
page.window.ready.then(() => {
  answer();
  document.body.dataset.ready = "yes";
});
