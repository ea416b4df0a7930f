// What k right answers among n say, where who guesses is right in half. Exact sums: no table and no approximation.
const statistics = (() => {
  const logFactorials = [0];
  const logFactorial = (n) => {
    while (logFactorials.length <= n) logFactorials.push(logFactorials.at(-1) + Math.log(logFactorials.length));
    return logFactorials[n];
  };

  // P(K >= k) of n trials that are right with probability p.
  function atLeast(k, n, p) {
    if (k <= 0) return 1;
    if (p <= 0) return 0;
    if (p >= 1) return 1;
    let sum = 0;
    for (let i = k; i <= n; i += 1) {
      const ways = logFactorial(n) - logFactorial(i) - logFactorial(n - i);
      sum += Math.exp(ways + i * Math.log(p) + (n - i) * Math.log1p(-p));
    }
    return Math.min(sum, 1);
  }

  // Where a rising function of p passes `level`, between 0 and 1.
  function crossing(rising, level) {
    let [low, high] = [0, 1];
    for (let halving = 0; halving < 60; halving += 1) {
      const middle = (low + high) / 2;
      if (rising(middle) < level) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  }

  return {
    byGuessing: (right, trials) => atLeast(right, trials, 0.5),
    // The exact 95 % interval of the share right (Clopper and Pearson).
    interval: (right, trials) => [
      right === 0 ? 0 : crossing((p) => atLeast(right, trials, p), 0.025),
      right === trials ? 1 : crossing((p) => atLeast(right + 1, trials, p), 0.975),
    ],
  };
})();
