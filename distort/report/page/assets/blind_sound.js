// Two sounds that play on together in step, of which one is heard; X is one of them again, never a third.
const sound = (() => {
  const FADE_S = 0.01;
  const AHEAD_S = 0.02; // a change that is told so early arrives before its time has come
  const HIGHEST_PEAK = 10 ** (-1 / 20); // -1 dBFS

  // The part from one sample to another, made so that its end leads into its beginning without a step.
  function looped(samples, from, to, rate) {
    const part = samples.slice(from, to);
    const fade = Math.round(FADE_S * rate);
    for (let i = 0; i < fade && to + i < samples.length; i += 1) {
      const share = i / fade;
      part[i] = share * part[i] + (1 - share) * samples[to + i];
    }
    return part;
  }

  function filtered(samples, [b0, b1, b2, , a1, a2]) {
    const out = new Float64Array(samples.length);
    let [first, second] = [0, 0];
    for (let i = 0; i < samples.length; i += 1) {
      const value = b0 * samples[i] + first;
      first = b1 * samples[i] - a1 * value + second;
      second = b2 * samples[i] - a2 * value;
      out[i] = value;
    }
    return out;
  }

  // Integrated loudness by ITU-R BS.1770-4, LKFS; -Infinity of silence. `weighting`: the K-weighting at this rate.
  function loudness(samples, rate, weighting) {
    const weighted = weighting.reduce(filtered, samples);
    const [block, step] = [Math.round(0.4 * rate), Math.round(0.1 * rate)];
    const powers = [];
    for (let start = 0; start + block <= weighted.length; start += step) {
      let sum = 0;
      for (let i = start; i < start + block; i += 1) sum += weighted[i] ** 2;
      powers.push(sum / block);
    }
    const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
    const over = powers.filter((power) => power > 10 ** ((-70 + 0.691) / 10));
    if (!over.length) return -Infinity;
    const gate = 0.1 * mean(over);
    return -0.691 + 10 * Math.log10(mean(over.filter((power) => power > gate)));
  }

  // Gains, dB, after which both are equally loud and neither's peak is over -1 dBFS: nothing is ever turned up.
  function gains(sides, rate, weighting) {
    const [loudA, loudB] = sides.map((side) => loudness(side, rate, weighting));
    const apart = Number.isFinite(loudA - loudB) ? loudA - loudB : 0;
    const matched = [Math.min(-apart, 0), Math.min(apart, 0)];
    const over = sides.map((side, place) => {
      const peak = side.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
      return peak > 0 ? matched[place] + 20 * Math.log10(peak / HIGHEST_PEAK) : 0;
    });
    return matched.map((gain) => gain - Math.max(0, ...over));
  }

  // A value that moves in straight lines, each begun when the last one has ended, so that it never jumps.
  function slider(parameter, context, seconds) {
    let [target, free] = [parameter.value, 0];
    return (wanted) => {
      if (wanted === target) return;
      const start = Math.max(context.currentTime + AHEAD_S, free);
      parameter.setValueAtTime(target, start);
      parameter.linearRampToValueAtTime(wanted, start + seconds);
      [target, free] = [wanted, start + seconds];
    };
  }

  // Plays both `sides` (samples, gains already in them) over and over; silent until `hear`.
  function player(context, sides, rate) {
    // One number, from 0 (A) to 1 (B), drives both gains: at every sample they add up to 1.
    const between = new ConstantSourceNode(context, { offset: 0 });
    const opposite = new GainNode(context, { gain: -1 });
    const levels = [new GainNode(context, { gain: 1 }), new GainNode(context, { gain: 0 })];
    const out = new GainNode(context, { gain: 0 });
    between.connect(opposite).connect(levels[0].gain);
    between.connect(levels[1].gain);
    out.connect(context.destination);
    const sources = sides.map((samples, place) => {
      const buffer = new AudioBuffer({ length: samples.length, numberOfChannels: 1, sampleRate: rate });
      buffer.copyToChannel(samples, 0);
      const source = new AudioBufferSourceNode(context, { buffer, loop: true });
      source.connect(levels[place]).connect(out);
      return source;
    });
    const begin = context.currentTime + AHEAD_S;
    for (const source of [between, ...sources]) source.start(begin);
    const slide = slider(between.offset, context, FADE_S);
    const open = slider(out.gain, context, 2 * FADE_S);
    return {
      show: (side) => slide(side === "B" ? 1 : 0),
      hear: (on) => open(on ? 1 : 0),
      place: () => Math.max(context.currentTime - begin, 0) % (sides[0].length / rate),
      end: () => {
        open(0);
        for (const source of [between, ...sources]) source.stop(context.currentTime + 0.1);
      },
    };
  }

  const amplified = (samples, gain) => samples.map((value) => value * 10 ** (gain / 20));

  return { FADE_S, looped, loudness, gains, amplified, player };
})();
