// The page of the blind test: what is chosen, what is heard, what was answered. X never reaches the page's elements.
const test = JSON.parse(document.getElementById("test").textContent);
const the = (id) => document.getElementById(id);
const store = trials.kept(test.test);
const LEAST_LOOP_S = 3;
const WAKING_MS = 3000; // a browser with an output takes far less; one without says nothing at all
const NO_SOUND =
  "No sound comes out: the browser found nothing to play on, or may not play here. Connect headphones, allow sound for " +
  "this page, and try again.";
// In per cent, rounded outwards: no more is excluded than was found.
const atLeast = (share) => `${Math.floor(100 * share)} %`;
const atMost = (share) => `${Math.ceil(100 * share)} %`;

let pair = null; // of the test, with its two sounds
let context = null;
let playing = null; // what plays, with the loop and the gains it was made with
let run = null;

// ------------------------------------------------------------------ sounds
const decoded = new Map();

async function samplesOf(id) {
  if (!decoded.has(id)) {
    const bytes = Uint8Array.from(atob(the(id).textContent.trim()), (letter) => letter.charCodeAt(0));
    const rate = Number(the(id).dataset.rate);
    const buffer = await new OfflineAudioContext(1, 1, rate).decodeAudioData(bytes.buffer);
    decoded.set(id, buffer.getChannelData(0));
  }
  return decoded.get(id);
}

async function choose(name) {
  silence();
  const chosen = test.pairs.find((one) => one.pair === name);
  const whole = await Promise.all(chosen.sounds.map(samplesOf));
  pair = { ...chosen, whole, seconds: Math.min(...whole.map((one) => one.length)) / chosen.rate - sound.FADE_S };
  the("from").max = Math.max(pair.seconds - LEAST_LOOP_S, 0).toFixed(1);
  the("to").min = Math.min(LEAST_LOOP_S, pair.seconds).toFixed(1);
  the("to").max = pair.seconds.toFixed(1);
  the("from").value = 0;
  the("to").value = the("to").max;
  the("side-a").textContent = chosen.a;
  the("side-b").textContent = chosen.b;
  for (const each of document.querySelectorAll(".needs-sound")) each.disabled = false;
  looped();
}

// Both sides of the loop, equally loud, ready to be played.
function prepared() {
  const [from, to] = loop().map((seconds) => Math.round(seconds * pair.rate));
  const cut = pair.whole.map((samples) => sound.looped(samples, from, to, pair.rate));
  const gains = sound.gains(cut, pair.rate, test.weightings[pair.rate]);
  return { gains, sides: cut.map((samples, place) => sound.amplified(samples, gains[place])) };
}

// Whether the browser plays; where it does not, the listener is told and not left with a dead button.
async function awake() {
  context ??= new AudioContext({ sampleRate: pair.rate });
  const waited = new Promise((done) => setTimeout(done, WAKING_MS));
  await Promise.race([context.resume().catch(() => {}), waited]);
  const plays = context.state === "running";
  the("no-sound").textContent = plays ? "" : NO_SOUND;
  return plays;
}

async function play() {
  if (!(await awake())) return;
  if (!playing) {
    const { gains, sides } = prepared();
    playing = { ...sound.player(context, sides, pair.rate), gains, on: false };
  }
  playing.on = true;
  playing.show(heardSide());
  playing.hear(true);
  spoken();
  allowed();
}

function pause() {
  if (playing) {
    playing.hear(false);
    playing.on = false;
  }
  spoken();
}

// Forget what plays: the next one may be another pair or another loop.
function silence() {
  if (playing) playing.end();
  playing = null;
  spoken();
}

const spoken = () => {
  the("play").textContent = playing?.on ? "Pause" : "Play";
};

// ------------------------------------------------------------------ the loop
const loop = () => [Number(the("from").value), Number(the("to").value)];

function looped() {
  const [from, to] = loop();
  the("from").setAttribute("aria-valuetext", `from ${from.toFixed(1)} seconds`);
  the("to").setAttribute("aria-valuetext", `to ${to.toFixed(1)} seconds`);
  the("loop-said").textContent = `${from.toFixed(1)} to ${to.toFixed(1)} s of ${pair.seconds.toFixed(1)} s`;
  drawWave();
}

function moved(which) {
  const [from, to] = loop();
  if (to - from < LEAST_LOOP_S) {
    if (which === "from") the("to").value = from + LEAST_LOOP_S;
    else the("from").value = to - LEAST_LOOP_S;
  }
  const on = playing?.on;
  silence();
  looped();
  if (on) play();
}

// The outline of side A over time, the loop in ink. Of X nothing is ever drawn.
function drawWave() {
  const canvas = the("wave");
  const style = getComputedStyle(document.documentElement);
  const pen = canvas.getContext("2d");
  const [samples] = pair.whole;
  const columns = canvas.width;
  const [from, to] = loop();
  pen.clearRect(0, 0, columns, canvas.height);
  let highest = 1e-9;
  const peaks = Array.from({ length: columns }, (_, column) => {
    let peak = 0;
    const start = Math.floor((column * samples.length) / columns);
    for (let i = start; i < start + samples.length / columns; i += 1) peak = Math.max(peak, Math.abs(samples[i] ?? 0));
    highest = Math.max(highest, peak);
    return peak;
  });
  peaks.forEach((peak, column) => {
    const at = (column / columns) * pair.seconds;
    const height = Math.max((peak / highest) * canvas.height, 1);
    pen.fillStyle = style.getPropertyValue(at >= from && at <= to ? "--link" : "--line");
    pen.fillRect(column, (canvas.height - height) / 2, 1, height);
  });
}

function followed() {
  const marker = the("marker");
  if (playing?.on && pair) {
    const [from] = loop();
    marker.style.left = `${((from + playing.place()) / pair.seconds) * 100}%`;
  }
  marker.hidden = !playing?.on;
  requestAnimationFrame(followed);
}

// ------------------------------------------------------------------ switching and answering
const shown = () => document.querySelector("input[name=side]:checked").value;
const heardSide = () => (run ? run.side(shown()) : shown());

function switched() {
  if (playing) playing.show(heardSide());
  allowed();
}

// Who has not heard X in this trial has no answer to give.
function allowed() {
  if (run && shown() === "X" && playing?.on) for (const button of answers) button.disabled = false;
}

const answers = [the("with-a"), the("with-b")];

function next() {
  for (const button of answers) button.disabled = true;
  the("side-choice-a").checked = true;
  the("side-choice-a").focus();
  switched();
  the("trial-count").textContent = `Trial ${run.done() + 1} of ${test.trials}`;
  the("progress").value = run.done();
}

// While a run lasts its pair and loop stand fixed, so what chooses them is out of the way.
function running(on) {
  for (const each of document.querySelectorAll(".between-runs")) each.hidden = on;
  for (const each of document.querySelectorAll(".in-a-run")) each.hidden = !on;
}

async function start() {
  if (!playing) await play();
  if (!playing || run) return; // nothing to hear, or pressed twice
  const { gains } = playing;
  run = trials.begun(store, { pair: pair.pair, trials: test.trials, loop: loop(), gains });
  the("outcome").hidden = true;
  running(true);
  the("run-number").textContent = `Run ${run.number}, ${pair.title}`;
  if (!playing.on) await play();
  next();
}

function answered(said) {
  if (run.answer(said)) over();
  else next();
}

// A run is over: all its answers are given, or the listener has had enough.
function over() {
  const outcome = run.outcome();
  const number = run.number;
  run = null;
  pause();
  the("side-choice-a").checked = true;
  switched();
  running(false);
  told(number, outcome);
  listed();
  the("outcome").hidden = false;
  the("outcome-title").focus();
}

// ------------------------------------------------------------------ words
// How often guessing does as well, as a count of people.
function byChance(probability) {
  if (probability >= 0.995) return "everyone who guesses";
  if (probability >= 0.01) return `${Math.round(100 * probability)} in 100 people who guess`;
  return `1 in ${Number((1 / probability).toPrecision(2)).toLocaleString("en")} people who guess`;
}

function meaning(right, count) {
  const chance = statistics.byGuessing(right, count);
  const [low, high] = statistics.interval(right, count);
  const words = [
    `${byChance(chance)} would be right as often or more (${chance < 1e-4 ? "p < 0.0001" : `p = ${chance.toPrecision(2)}`}).`,
    `If you went on for very long, your share of right answers would lie somewhere from ${atLeast(low)} to ` +
      `${atMost(high)} (95 % interval). Guessing gives 50 %.`,
  ];
  if (pair.kind === "control") {
    words.push("Both sides were the same sound, so nobody can do better than guess here.");
  } else if (chance <= 0.05) {
    words.push("That is more than guessing explains: you very probably heard the difference.");
  } else {
    words.push(
      `So it is not shown that you heard the difference. It is not shown that you cannot, either: only a share above ` +
        `${atMost(high)} is excluded.`,
    );
  }
  return words.join(" ");
}

function told(number, { right, trials: count, answers: given }) {
  the("outcome-title").textContent = count
    ? `Run ${number}: ${right} of ${count} right`
    : `Run ${number}: ended before the first answer`;
  the("outcome-words").textContent = count ? meaning(right, count) : "";
  const all = store.read().runs.filter((one) => one.pair === pair.pair);
  const sum = { right: 0, count: 0 };
  for (const one of all) {
    sum.right += one.right;
    sum.count += one.answers.length;
  }
  the("outcome-all").textContent =
    all.length > 1 && sum.count
      ? `All your ${all.length} runs of this pair together, those you broke off among them: ${sum.right} of ` +
        `${sum.count} right. ${meaning(sum.right, sum.count)}`
      : "";
  the("outcome-rows").replaceChildren(
    ...given.map(({ x, said }, place) => {
      const row = document.createElement("tr");
      for (const text of [place + 1, x, said, x === said ? "right" : "wrong"]) row.insertCell().textContent = text;
      return row;
    }),
  );
}

function listed() {
  const { runs } = store.read();
  const broken = runs.filter((one) => !one.finished).length;
  the("saved").hidden = !runs.length;
  the("saved-words").textContent =
    `${runs.length === 1 ? "1 run was" : `${runs.length} runs were`} started in this browser` +
    `${broken ? `, ${broken} of them broken off` : ""}. The file holds them all.` +
    `${store.keeps() ? "" : " This browser keeps nothing: save the file before you close the page."}`;
  the("saved-text").value = savedText();
}

// What is saved: everything that was started, and nothing that says who listened.
function savedText() {
  const { listener, runs } = store.read();
  const { test: name, loudspeaker, software } = test;
  const pairs = test.pairs.map(({ pair: each, kind, frequency_hz, title, condition, level_db_spl, source, simulated }) => ({
    pair: each, kind, frequency_hz, title, condition, level_db_spl, source, simulated,
  }));
  const whole = { format: 1, test: name, loudspeaker, software, listener, kept_by_browser: store.keeps(), pairs, runs };
  return `${JSON.stringify(whole, null, 2)}\n`;
}

function save() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([savedText()], { type: "application/json" }));
  link.download = `blind-test-${store.read().listener.slice(0, 8)}.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}

// ------------------------------------------------------------------ what the page reacts to
for (const choice of document.querySelectorAll("input[name=pair]")) {
  choice.addEventListener("change", () => choose(choice.value));
}
for (const which of ["from", "to"]) {
  the(which).addEventListener("input", looped);
  the(which).addEventListener("change", () => moved(which));
}
for (const side of document.querySelectorAll("input[name=side]")) side.addEventListener("change", switched);
the("desk").addEventListener("keydown", (event) => {
  // letters switch while the sliders or buttons of the desk are in use: nothing else on the page listens to them
  const side = the(`side-choice-${event.key.toLowerCase()}`);
  if (!side || side.closest("[hidden]") || event.ctrlKey || event.metaKey || event.altKey) return;
  side.checked = true;
  side.focus();
  switched();
});
the("play").addEventListener("click", () => (playing?.on ? pause() : play()));
the("start").addEventListener("click", start);
the("with-a").addEventListener("click", () => answered("A"));
the("with-b").addEventListener("click", () => answered("B"));
the("stop").addEventListener("click", over);
the("save").addEventListener("click", save);
// whoever was sent here to hear one kind of fault finds its pair chosen
const wanted = location.hash.slice(1);
for (const choice of document.querySelectorAll("input[name=pair]")) if (choice.value === wanted) choice.checked = true;
choose(document.querySelector("input[name=pair]:checked").value);
listed();
requestAnimationFrame(followed);
