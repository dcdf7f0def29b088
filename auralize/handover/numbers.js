"use strict";
/* What the page reckons by itself: loudness, true peak, gains, what blind trials show. No DOM, no sound.
 *
 * Each part does what the module named beside it does in Python, and the tests hold them together.
 * A signal is an array of channels, each an array of samples with full scale at 1. Levels are in LUFS and
 * dB; silence is -Infinity, for which null is taken too, as JSON knows no other word. */
const Numbers = (() => {

  const amplitude = (dB) => 10 ** (dB / 20);
  const decibels = (ratio) => (ratio > 0 ? 20 * Math.log10(ratio) : -Infinity);
  const sum = (values) => values.reduce((all, value) => all + value, 0);

  // ---- long work, in pieces

  /* What a generator gives in the end. */
  function atOnce(work) {
    let step = work.next();
    while (!step.done) step = work.next();
    return step.value;
  }

  /* The same, with pauses in which the page does what else there is to do; `progress` gets what is yielded. */
  async function meanwhile(work, progress = () => {}) {
    let step = work.next();
    for (let rested = performance.now(); !step.done; step = work.next()) {
      if (performance.now() - rested < 12) continue; // ms: less than a picture takes
      progress(step.value);
      await new Promise((resolve) => setTimeout(resolve));
      rested = performance.now();
    }
    return step.value;
  }

  // ---- loudness: ITU-R BS.1770, audio/loudness.py

  const TABLE_RATE = 48000;
  const TABLES = [
    [[1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585]],
    [[1, -2, 1], [1, -1.99004745483398, 0.99007225036621]],
  ];
  const LOUDNESS_OFFSET = -0.691, ABSOLUTE_GATE = -70, RELATIVE_GATE = -10;
  const STEPS_PER_SECOND = 10, STEPS_PER_BLOCK = 4;

  /* With s = (1 - 1/z) / (1 + 1/z), [1, 1/z, 1/z^2] and [1, s, s^2] map onto each other alike. */
  const bilinear = ([a, b, c]) => [a + b + c, 2 * a - 2 * c, a - b + c];

  /* The tables of 48 kHz taken back to the analogue prototype and made anew at this rate, corner kept. */
  function kWeighting(rate) {
    return TABLES.map((table) => {
      const [numerator, denominator] = table.map(bilinear);
      const corner = Math.sqrt(denominator[0] / denominator[2]);
      const stretch = corner / Math.tan((Math.atan(corner) * TABLE_RATE) / rate);
      const stretched = (powers) => bilinear([powers[0], powers[1] * stretch, powers[2] * stretch ** 2]);
      const below = stretched(denominator);
      return [...stretched(numerator), ...below].map((value) => value / below[0]);
    });
  }

  const stepEnd = (step, rate) => Math.floor((step * rate) / STEPS_PER_SECOND);

  /* Sums of squares of weighted samples, over each 100 ms and (the last one) what is left over. */
  class Weighted {
    constructor(rate, frames) {
      this.sections = kWeighting(rate).flat();
      this.rate = rate;
      this.energies = new Float64Array(Math.floor((frames * STEPS_PER_SECOND) / rate) + 2);
    }

    /* Of one channel, from frame `from` on, with the state that the frames before left. */
    add(channel, from, to, state) {
      const [b0, b1, b2, , a1, a2, c0, c1, c2, , d1, d2] = this.sections;
      let [x1, x2, y1, y2] = state;
      let step = Math.floor((from * STEPS_PER_SECOND) / this.rate);
      while (stepEnd(step + 1, this.rate) <= from) step += 1;
      for (let start = from; start < to; step += 1) {
        const end = Math.min(to, stepEnd(step + 1, this.rate));
        let energy = 0;
        for (let n = start; n < end; n += 1) {
          const x = channel[n];
          const y = b0 * x + x1;
          x1 = b1 * x - a1 * y + x2;
          x2 = b2 * x - a2 * y;
          const z = c0 * y + y1;
          y1 = c1 * y - d1 * z + y2;
          y2 = c2 * y - d2 * z;
          energy += z * z;
        }
        this.energies[step] += energy;
        start = end;
      }
      // What has faded to nothing is nothing: numbers that small are slow.
      return [x1, x2, y1, y2].map((value) => (Math.abs(value) < 1e-30 ? 0 : value));
    }

    /* Gated as it will be once `gain` dB are applied, and less that gain. */
    integrated(frames, gain) {
      const steps = Math.floor((frames * STEPS_PER_SECOND) / this.rate);
      const whole = stepEnd(steps + 1, this.rate) <= frames ? steps + 1 : steps;
      if (whole < STEPS_PER_BLOCK) return lufs(sum(this.energies) / Math.max(frames, 1));
      const means = [];
      for (let first = 0; first + STEPS_PER_BLOCK <= whole; first += 1) {
        const last = first + STEPS_PER_BLOCK;
        means.push(sum(this.energies.subarray(first, last)) / (stepEnd(last, this.rate) - stepEnd(first, this.rate)));
      }
      return lufs(gatedPower(means, gain));
    }
  }

  function gatedPower(means, gain) {
    const gate = 10 ** ((ABSOLUTE_GATE - gain - LOUDNESS_OFFSET) / 10);
    const kept = means.filter((power) => power > gate);
    if (!kept.length) return 0;
    const relative = (sum(kept) / kept.length) * 10 ** (RELATIVE_GATE / 10);
    const loud = kept.filter((power) => power > relative);
    return sum(loud) / loud.length;
  }

  const lufs = (power) => (power > 0 ? LOUDNESS_OFFSET + 10 * Math.log10(power) : -Infinity);

  // ---- true peak: the same, Annex 2, eight times oversampled; audio/true_peak.py

  const REACH = 48; // samples on either side of an instant
  const KAISER_BETA = 6;
  const CHUNK = 16384;
  /* Of its highest magnitude, what a signal has at the nearest instant looked at, where those are half a
   * sample apart, or a quarter: cos(2 pi 0.52 t) at half that distance (Duffin and Schaeffer; from memory),
   * less an allowance for what the interpolator lets through above. */
  const SHARE_AT_HALVES = 0.65, SHARE_AT_QUARTERS = 0.88;

  function besselI0(x) {
    let term = 1, total = 1;
    for (let k = 1; term > 1e-17 * total; k += 1) {
      term *= (x / (2 * k)) ** 2;
      total += term;
    }
    return total;
  }

  /* Taps of a windowed sinc for an instant between two samples, `at` from 0 to 1 behind the first. */
  function interpolator(at) {
    return Float64Array.from({ length: 2 * REACH }, (_, n) => {
      const distance = n - REACH + 1 - at;
      const window = besselI0(KAISER_BETA * Math.sqrt(1 - (distance / REACH) ** 2)) / besselI0(KAISER_BETA);
      return (Math.sin(Math.PI * distance) / (Math.PI * distance)) * window;
    });
  }

  const HALF = interpolator(0.5).slice(0, REACH).reverse(); // from the middle outwards; both sides are the same
  const NEAR = 8; // taps on either side that are looked at first
  const FAR = 2 * sum(HALF.subarray(NEAR).map(Math.abs)); // of the highest sample around: what the others add at most
  const ROOM = 64; // samples over which that one is looked for together
  const QUARTERS = [2, 6].map((eighth) => interpolator(eighth / 8));
  const EIGHTHS = [1, 3, 5, 7].map((eighth) => interpolator(eighth / 8));

  /* Magnitude at the highest of some instants after sample `n`. */
  function highest(padded, n, instants) {
    let most = 0;
    for (const taps of instants) {
      let value = 0;
      for (let k = 0; k < 2 * REACH; k += 1) value += taps[k] * padded[n - REACH + 1 + k];
      most = Math.max(most, Math.abs(value));
    }
    return most;
  }

  /* Highest magnitudes that taps can reach from each `ROOM` of samples: its own and those on either side. */
  function around(padded) {
    const rooms = Array.from({ length: Math.ceil(padded.length / ROOM) + 1 },
      (_, room) => samplePeak(padded.subarray(room * ROOM, (room + 1) * ROOM)));
    return rooms.map((own, room) => Math.max(own, rooms[room - 1] ?? 0, rooms[room + 1] ?? 0));
  }

  /* The highest of `peak` and what lies between samples `from` and `to` of a channel. */
  function peakBetween(channel, from, to, peak) {
    const padded = new Float64Array(to - from + 2 * REACH); // silence before and after the signal
    const first = Math.max(0, from - REACH), last = Math.min(channel.length, to + REACH);
    if (last > first) padded.set(channel.subarray(first, last), first - from + REACH);
    const most = around(padded);
    for (let n = REACH; n < to - from + REACH; n += 1) {
      let half = 0, k = 0;
      for (; k < NEAR; k += 1) half += HALF[k] * (padded[n - k] + padded[n + 1 + k]);
      const samples = Math.max(Math.abs(padded[n]), Math.abs(padded[n + 1]));
      const least = SHARE_AT_HALVES * peak;
      if (samples < least && Math.abs(half) + FAR * most[Math.floor(n / ROOM)] < least) continue;
      for (; k < REACH; k += 1) half += HALF[k] * (padded[n - k] + padded[n + 1 + k]);
      peak = Math.max(peak, closer(padded, n, Math.max(samples, Math.abs(half)), peak));
    }
    return peak;
  }

  /* The highest magnitude after sample `n`, where it may be above `peak`; `near`: at samples and half way. */
  function closer(padded, n, near, peak) {
    if (near < SHARE_AT_HALVES * peak) return near;
    near = Math.max(near, highest(padded, n, QUARTERS));
    return near < SHARE_AT_QUARTERS * peak ? near : Math.max(near, highest(padded, n, EIGHTHS));
  }

  function samplePeak(channel) {
    let peak = 0;
    for (let n = 0; n < channel.length; n += 1) peak = Math.max(peak, Math.abs(channel[n]));
    return peak;
  }

  // ---- both, a piece at a time

  function* pieces(channels, rate, gain) {
    const frames = channels.length ? channels[0].length : 0;
    const weighted = new Weighted(rate, frames);
    const states = channels.map(() => [0, 0, 0, 0]);
    let peak = Math.max(0, ...channels.map(samplePeak));
    for (let from = -REACH; peak > 0 && from < frames + REACH; from += CHUNK) {
      const start = Math.max(0, from), end = Math.min(frames, from + CHUNK);
      for (let c = 0; c < channels.length; c += 1) {
        if (end > start) states[c] = weighted.add(channels[c], start, end, states[c]);
        peak = peakBetween(channels[c], from, Math.min(from + CHUNK, frames + REACH), peak);
      }
      yield Math.min(1, (from + CHUNK) / frames);
    }
    return { loudness: weighted.integrated(frames, gain), peak };
  }

  /* {loudness, peak} of a signal, its loudness gated as after `gain` dB (for drops: DROP_GATED_AFTER). */
  const level = (channels, rate, gain = 0) => atOnce(pieces(channels, rate, gain));
  /* The same while the page goes on; `progress(share)` is told now and then. */
  const measure = (channels, rate, gain = 0, progress = () => {}) =>
    meanwhile(pieces(channels, rate, gain), progress);
  const loudness = (channels, rate, gain = 0) => level(channels, rate, gain).loudness;
  const truePeak = (channels, rate) => level(channels, rate).peak;

  // ---- gains: the one policy of gains.py

  const CEILING = -1, MOST_MAKEUP = 40, DROP_GATED_AFTER = MOST_MAKEUP;
  const known = (level) => level ?? -Infinity;

  const loudnessGain = (reference, measured) => {
    const gain = known(reference) - known(measured);
    return Number.isFinite(gain) ? gain : 0;
  };

  function matchGain(one, levels, reference, way) {
    if (way.match === "installed" || one.choice === null) return 0;
    if (way.match !== "loudness") return one.level_match ?? 0; // at one frequency; worked out beforehand
    const receiving = levels.find((other) => other.choice === one.choice && other.signal === "receiving");
    return loudnessGain(reference, receiving.loudness);
  }

  function chosenMakeup(reference, drops) {
    const limits = drops.filter(({ peak }) => peak > 0).flatMap(({ loudness, peak, gain }) => [
      CEILING - decibels(peak) - gain,
      Number.isFinite(reference) ? reference - loudness - gain : Infinity,
    ]);
    return limits.length ? Math.max(0, Math.floor(Math.min(MOST_MAKEUP, ...limits))) : 0;
  }

  /* dB that bring signals of these loudnesses to one: the target, or what all can reach with their `most`. */
  function equallyLoud(loudnesses, most, target = Infinity) {
    const common = Math.min(target, ...loudnesses.map((loudness, i) => loudness + most[i]));
    return loudnesses.map((loudness) => common - loudness);
  }

  function equalMakeups(reference, drops) {
    const audible = drops.filter(({ loudness }) => Number.isFinite(loudness));
    const found = equallyLoud(
      audible.map(({ loudness, gain }) => loudness + gain),
      audible.map(({ peak, gain }) => Math.min(MOST_MAKEUP, CEILING - decibels(peak) - gain)),
      Number.isFinite(reference) ? reference : Infinity,
    );
    return drops.map((drop) => (audible.includes(drop) ? found[audible.indexOf(drop)] : 0));
  }

  function makeups(reference, drops, way) {
    if (way.drops === "equal") return equalMakeups(reference, drops);
    return drops.map(() => way.makeup ?? chosenMakeup(reference, drops));
  }

  /* Gains {match, makeup, headroom, total} in dB of each of `levels`, all before any gain.
   *
   * reference: loudness of the source. A level: {choice, signal, across, loudness, peak, level_match, shared};
   * only those with `shared` not false count for the headroom. The way: {match, drops, makeup}. Where `match`
   * is "loudness" the receiving end of each choice must be among the levels, where it is a frequency each has
   * its level_match in dB; `drops` is "one" (at `makeup` dB, null: chosen) or "equal". */
  function balance(reference, levels, way) {
    const source = known(reference);
    const all = levels.map((one) => ({
      ...one, loudness: known(one.loudness), gain: matchGain(one, levels, source, way), makeup: 0,
    }));
    for (const across of ["both", "plus", "minus"]) {
      const alike = all.filter((one) => one.signal === "drop" && one.across === across);
      const found = makeups(source, alike, way);
      alike.forEach((one, i) => { one.makeup = found[i]; });
    }
    const counted = all.filter((one) => one.shared !== false);
    const peak = Math.max(0, ...counted.map((one) => one.peak * amplitude(one.gain + one.makeup)));
    const headroom = Math.min(0, CEILING - decibels(peak));
    return all.map(({ gain, makeup }) => ({ match: gain, makeup, headroom, total: gain + makeup + headroom }));
  }

  /* Gains in dB of two of `levels` (by their places) for a blind trial: matched in loudness, then both turned
   * down to the softer; null where one has no loudness. As the bench does it, see live/slots.py. */
  function frozen(reference, levels, pair) {
    const gains = balance(reference, levels, { match: "loudness", drops: "one", makeup: null });
    const heard = pair.map((place) => known(levels[place].loudness) + gains[place].total);
    if (!heard.every(Number.isFinite)) return null;
    const turned = equallyLoud(heard, [0, 0]);
    return pair.map((place, i) => gains[place].total + turned[i]);
  }

  // ---- third octaves: audio/bands.py; middles as IEC 61260-1 has them, base ten

  const thirds = [
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000,
    2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
  ];
  /* {low, middle, high} in Hz of the band with that place in `thirds`. */
  const third = (place) => {
    const middle = 1000 * 10 ** ((place - 17) / 10);
    return { low: middle / 10 ** 0.05, middle, high: middle * 10 ** 0.05 };
  };

  // ---- SHA-256: FIPS 180-4

  const PRIMES = [];
  for (let n = 2; PRIMES.length < 64; n += 1) if (PRIMES.every((prime) => n % prime)) PRIMES.push(n);
  const fraction = (x) => Math.floor((x - Math.floor(x)) * 2 ** 32);
  const ROUNDS = Int32Array.from(PRIMES, (prime) => fraction(Math.cbrt(prime)));
  const START = PRIMES.slice(0, 8).map((prime) => fraction(Math.sqrt(prime)));
  const turn = (word, bits) => (word >>> bits) | (word << (32 - bits));

  function compress(state, view, at, words) {
    for (let t = 0; t < 16; t += 1) words[t] = view.getInt32(at + 4 * t);
    for (let t = 16; t < 64; t += 1) {
      const early = words[t - 15], late = words[t - 2];
      const low = turn(early, 7) ^ turn(early, 18) ^ (early >>> 3);
      const high = turn(late, 17) ^ turn(late, 19) ^ (late >>> 10);
      words[t] = words[t - 16] + low + words[t - 7] + high;
    }
    let a = state[0], b = state[1], c = state[2], d = state[3];
    let e = state[4], f = state[5], g = state[6], h = state[7];
    for (let t = 0; t < 64; t += 1) {
      const one = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + ROUNDS[t] + words[t]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g; g = f; f = e; e = (d + one) | 0;
      d = c; c = b; b = a; a = (one + two) | 0;
    }
    state[0] += a; state[1] += b; state[2] += c; state[3] += d;
    state[4] += e; state[5] += f; state[6] += g; state[7] += h;
  }

  const MANY = 1 << 18; // bytes hashed in a piece

  function* hashed(bytes) {
    const state = Int32Array.from(START), words = new Int32Array(64);
    const whole = bytes.length - (bytes.length % 64);
    const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    for (let at = 0; at < whole; at += 64) {
      compress(state, view, at, words);
      if (at % MANY === 0) yield at / whole;
    }
    const rest = bytes.length - whole;
    const end = new DataView(new ArrayBuffer(rest < 56 ? 64 : 128));
    bytes.subarray(whole).forEach((byte, i) => end.setUint8(i, byte));
    end.setUint8(rest, 0x80);
    end.setBigUint64(end.byteLength - 8, BigInt(bytes.length) * 8n);
    for (let at = 0; at < end.byteLength; at += 64) compress(state, end, at, words);
    const found = new DataView(new ArrayBuffer(32));
    state.forEach((word, i) => found.setInt32(4 * i, word));
    return new Uint8Array(found.buffer);
  }

  /* Of a Uint8Array: 32 bytes. */
  const digest = (bytes) => atOnce(hashed(bytes));

  const hex = (bytes) => Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  const sha256 = (bytes) => hex(digest(bytes));
  /* The same while the page goes on. */
  const fingerprint = async (bytes) => hex(await meanwhile(hashed(bytes)));

  // ---- blind trials: their order, trials/plan.py

  const PROTOCOLS = {
    "matched-to-sample": { guess: [1, 2], arrangements: 2, answers: 2 },
    triangle: { guess: [1, 3], arrangements: 6, answers: 3 },
  };

  function arrange(protocol, draw) {
    if (protocol === "matched-to-sample") return { plays: [0, 1, draw], right: draw };
    const odd = draw >> 1, twice = draw & 1;
    return { plays: [0, 1, 2].map((place) => (place === odd ? 1 - twice : twice)), right: odd };
  }

  /* Of a session, from the bytes of its seed: for each trial the choice behind each presentation, and which
   * answer is right. */
  function order(seed, protocol, trials) {
    const ways = PROTOCOLS[protocol].arrangements, found = [];
    for (let counter = 0; found.length < trials; counter += 1) {
      const block = new Uint8Array(seed.length + 8);
      block.set(seed);
      new DataView(block.buffer).setBigUint64(seed.length, BigInt(counter));
      const fair = digest(block).filter((byte) => byte < 256 - (256 % ways));
      found.push(...Array.from(fair, (byte) => arrange(protocol, byte % ways)));
    }
    return found.slice(0, trials);
  }

  // ---- what they show: trials/statistics.py

  const CONFIDENCE = 0.95, HIGHEST_D_PRIME = 30;
  const ALPHA = { numerator: BigInt(0.05 * 2 ** 57), denominator: 2n ** 57n }; // just what a double has of 0.05

  /* C(n, k) a^k (b - a)^(n - k) for k = 0 to n, where guessing is right with probability a / b. */
  function weights(trials, [hit, of]) {
    const miss = BigInt(of - hit), found = [miss ** BigInt(trials)];
    for (let k = 0; k < trials; k += 1) {
      found.push(((found[k] / miss) * BigInt(hit) * BigInt(trials - k)) / BigInt(k + 1));
    }
    return found;
  }

  /* A fraction of whole numbers, rounded once. */
  function quotient(numerator, denominator) {
    if (numerator === 0n) return 0;
    const shift = Math.max(0, denominator.toString(2).length - numerator.toString(2).length + 66);
    const scaled = numerator << BigInt(shift);
    const whole = scaled / denominator;
    const value = Number(scaled % denominator ? whole | 1n : whole); // 64 bits and more: the last decides ties
    return shift > 1000 ? value * 2 ** -1000 * 2 ** (1000 - shift) : value * 2 ** -shift;
  }

  /* P(X >= correct) when each of the trials is a guess: exact, rounded once. */
  function tail(correct, trials, protocol) {
    const { guess } = PROTOCOLS[protocol];
    const above = weights(trials, guess).slice(correct).reduce((all, one) => all + one, 0n);
    return quotient(above, BigInt(guess[1]) ** BigInt(trials));
  }

  /* Fewest right answers of which guessing alone gives as many, or more, in 5 % of sessions; or null. */
  function leastCorrect(trials, protocol) {
    const { guess } = PROTOCOLS[protocol], each = weights(trials, guess);
    const allowed = BigInt(guess[1]) ** BigInt(trials) * ALPHA.numerator;
    let reached = 0n, correct = trials + 1;
    while ((reached + each[correct - 1]) * ALPHA.denominator <= allowed) {
      correct -= 1;
      reached += each[correct];
    }
    return correct <= trials ? correct : null;
  }

  /* ln n!: a product, or Stirling's series, whose next term is under 2e-15 from 20 on. */
  function logFactorial(n) {
    if (n < 20) return Math.log(Array.from({ length: n }, (_, k) => k + 1).reduce((all, k) => all * k, 1));
    const series = (1 - (1 - (2 / 7 - 3 / 14 / n ** 2) / n ** 2) / (30 * n ** 2)) / (12 * n);
    return (n + 0.5) * Math.log(n) - n + 0.5 * Math.log(2 * Math.PI) + series;
  }

  /* P(X >= k) of n trials that are right with probability p each; from the smaller side, so with all its digits. */
  function binomialTail(n, k, p) {
    if (k <= 0 || p >= 1) return k <= n ? 1 : 0;
    if (k > n || p <= 0) return 0;
    if (k < n * p) return 1 - binomialTail(n, n - k + 1, 1 - p);
    const ways = logFactorial(n) - logFactorial(k) - logFactorial(n - k);
    let term = Math.exp(ways + k * Math.log(p) + (n - k) * Math.log1p(-p)), total = 0;
    for (let j = k; j <= n && term > 1e-18 * total; j += 1) {
      total += term;
      term *= ((n - j) / (j + 1)) * (p / (1 - p));
    }
    return total;
  }

  /* Where a rising function gets to a value, between `low` and `high`: by bisection, to the last digit. */
  function solve(rising, value, low, high) {
    for (let middle = (low + high) / 2; low < middle && middle < high; middle = (low + high) / 2) {
      if (rising(middle) < value) low = middle;
      else high = middle;
    }
    return high;
  }

  /* Clopper-Pearson limits of the probability of a right answer. */
  function interval(correct, trials, confidence = CONFIDENCE) {
    const side = (1 - confidence) / 2;
    const low = correct ? solve((p) => binomialTail(trials, correct, p), side, 0, 1) : 0;
    const high = correct < trials ? solve((p) => binomialTail(trials, correct + 1, p), 1 - side, 0, 1) : 1;
    return [low, high];
  }

  /* Share of trials in which the two were told apart, the rest being guesses (ISO 4120). */
  function distinguishers(proportion, protocol) {
    const [hit, of] = PROTOCOLS[protocol].guess;
    return Math.max(0, (proportion - hit / of) / (1 - hit / of));
  }

  /* The normal distribution function, by its series of positive terms; beyond 9 nothing is left (1e-19). */
  function normal(x) {
    if (Math.abs(x) > 9) return x > 0 ? 1 : 0;
    if (x < 0) return 1 - normal(-x);
    let term = x, total = x;
    for (let k = 3; term > 1e-17 * total; k += 2) {
      term *= x ** 2 / k;
      total += term;
    }
    return 0.5 + (total * Math.exp(-(x ** 2) / 2)) / Math.sqrt(2 * Math.PI);
  }

  /* T(h, sqrt 3) of Owen (1956), an integral over the angle to 60 degrees: Simpson's rule, error under 1e-13. */
  function owensT(h) {
    const steps = 1000, width = Math.PI / 3 / steps;
    let total = 0;
    for (let n = 0; n <= steps; n += 1) {
      const weight = n === 0 || n === steps ? 1 : 2 + 2 * (n % 2);
      total += weight * Math.exp(-((h / Math.cos(n * width)) ** 2) / 2);
    }
    return (total * width) / 3 / (2 * Math.PI);
  }

  /* Probability of a right answer at a d', without bias; the models are named in trials/statistics.py. */
  function proportionCorrect(dPrime, protocol) {
    if (protocol === "triangle") return 1 - 4 * owensT(dPrime / Math.sqrt(6));
    const near = dPrime / Math.sqrt(2), middle = dPrime / Math.sqrt(6);
    return normal(near) * normal(middle) + normal(-near) * normal(-middle);
  }

  function dPrime(proportion, protocol) {
    const [hit, of] = PROTOCOLS[protocol].guess;
    if (proportion <= hit / of) return 0;
    if (proportion === 1) return Infinity;
    return solve((d) => proportionCorrect(d, protocol), proportion, 0, HIGHEST_D_PRIME);
  }

  /* All figures of a score; the limits of the share and of d' are those of the proportion, carried over. */
  function evaluate(correct, trials, protocol) {
    const limits = interval(correct, trials), proportion = correct / trials;
    return {
      protocol, trials, correct, proportion, confidence: CONFIDENCE,
      guess: PROTOCOLS[protocol].guess[0] / PROTOCOLS[protocol].guess[1],
      probability: tail(correct, trials, protocol) || Number.MIN_VALUE,
      needed: leastCorrect(trials, protocol),
      proportionLimits: limits,
      distinguishers: distinguishers(proportion, protocol),
      distinguishersLimits: limits.map((limit) => distinguishers(limit, protocol)),
      dPrime: dPrime(proportion, protocol),
      dPrimeLimits: limits.map((limit) => dPrime(limit, protocol)),
    };
  }

  return Object.freeze({
    CEILING, DROP_GATED_AFTER, PROTOCOLS, amplitude, balance, binomialTail, dPrime, decibels, digest,
    distinguishers, equallyLoud, evaluate, fingerprint, frozen, hex, interval, kWeighting, leastCorrect, level, loudness,
    measure, order, sha256, tail, third, thirds, truePeak,
  });
})();
