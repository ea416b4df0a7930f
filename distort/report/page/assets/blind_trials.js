// Runs: numbered as they start, X drawn for each trial, every answer kept at once so that none can be chosen from.
const trials = (() => {
  // One of two, evenly: a bit of the browser's own source of randomness.
  const drawn = () => (crypto.getRandomValues(new Uint8Array(1))[0] & 1 ? "B" : "A");

  const identifier = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

  // What this browser holds of a test, written at every change. Where a browser keeps nothing, only until it is closed.
  function kept(test) {
    const key = `distort-blind-${test}`;
    let keeps = true;
    let own = { listener: identifier(), runs: [] };
    const read = () => {
      try {
        const stored = JSON.parse(localStorage.getItem(key));
        if (stored && Array.isArray(stored.runs)) own = stored; // another window may have begun a run meanwhile
      } catch {
        keeps = false;
      }
      return own;
    };
    const write = (run) => {
      const runs = read().runs.filter((one) => one.run !== run.run);
      own = { ...own, runs: [...runs, run].sort((one, other) => one.number - other.number) };
      try {
        localStorage.setItem(key, JSON.stringify(own));
      } catch {
        keeps = false;
      }
    };
    return { read, write, keeps: () => keeps };
  }

  const right = (run) => run.answers.filter(({ x, said }) => x === said).length;

  // Begin a run. X of the trial at hand is known to `side` alone, until its answer has been given.
  function begun(store, { pair, trials: planned, loop, gains }) {
    const run = {
      number: store.read().runs.length + 1,
      run: identifier(),
      pair,
      started: new Date().toISOString().replace(/\.\d+Z$/, "Z"),
      trials: planned,
      loop_s: loop,
      gain_db: gains,
      answers: [],
      right: 0,
      finished: false,
    };
    store.write(run);
    let x = drawn();
    return {
      number: run.number,
      done: () => run.answers.length,
      side: (shown) => (shown === "X" ? x : shown),
      answer: (said) => {
        run.answers.push({ x, said });
        run.right = right(run);
        run.finished = run.answers.length === planned;
        store.write(run);
        x = drawn();
        return run.finished;
      },
      outcome: () => ({ right: run.right, trials: run.answers.length, answers: run.answers }),
    };
  }

  return { drawn, kept, begun };
})();
