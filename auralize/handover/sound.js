"use strict";
/* What sounds: the programme through the responses of all choices, rendered in the browser. No DOM.
 *
 * One source feeds a branch for each signal: convolver (the response), level (its gain), fade (0 or 1).
 * All run side by side, the source itself through a response that only delays; so what is switched is in step
 * to the sample, and the source never starts anew for it.
 *
 *     source -> [convolver -> level -> fade] ... -> mix -> transport -> volume -> out
 *
 * Sentences are not written here: `say(key, values)` gives them, for what can go wrong. */
const Sound = (() => {

  const FADE = 0.015; // s of the cross-fade from one signal to another
  const AHEAD = 0.03; // s; what is scheduled begins this much later, so that nothing comes late for its frame
  const LATE = 0.1, REMEMBERED = 1; // s that a context's clock is told late at most; s between looks at it
  const OPENS = 0.1; // s, time constant of the first start: 99 % after half a second
  const TURNS = 0.02, MOST_JUMP = 6, RISES = 0.5; // s of gains; dB louder at once; s, time constant of the rest
  const TURNED = 4; // time constants after which a gain is there but for 2 %
  const MOST_RISE = 60; // dB, where there was silence before
  const START_VOLUME = -20, LEAST_VOLUME = -80; // dB
  const RINGS = 0.3; // s that what was put away may still sound
  const WARM = 12; // branches that run on though they are not heard
  const SHORTEST_LOOP = 0.1; // s
  const MOST_SECONDS = 900, MOST_BYTES = 600e6; // of a file from outside
  const FOLDED = [4, 6]; // channels that Web Audio knows how to fold down to two
  const BOTH = "both";

  const CURVE_POINTS = 65;
  /* Raised cosines that add up to 1: what is switched is much the same signal, and its level stays. */
  const RISE = Float32Array.from({ length: CURVE_POINTS }, (_, n) =>
    (1 - Math.cos((Math.PI * n) / (CURVE_POINTS - 1))) / 2);
  const FALL = RISE.map((value) => 1 - value);

  function bytesOf(base64) {
    const text = atob(base64);
    const bytes = new Uint8Array(text.length);
    for (let n = 0; n < text.length; n += 1) bytes[n] = text.charCodeAt(n);
    return bytes;
  }

  function responseOf(taps, rate) {
    const buffer = new AudioBuffer({ length: taps.length, numberOfChannels: 1, sampleRate: rate });
    buffer.copyToChannel(taps, 0);
    return buffer;
  }

  function tapsOf(base64) {
    const view = new DataView(bytesOf(base64).buffer);
    return Float32Array.from({ length: view.byteLength / 4 }, (_, n) => view.getFloat32(4 * n, true));
  }

  const channelsOf = (buffer) =>
    Array.from({ length: buffer.numberOfChannels }, (_, n) => buffer.getChannelData(n));

  /* A decoder of its own: a playing context made before the user acts makes browsers complain. */
  const decode = (bytes, rate) => new OfflineAudioContext(1, 1, rate).decodeAudioData(bytes);

  /* Seconds that are these frames exactly, once a browser multiplies them by the rate again. */
  function secondsOf(frame, rate) {
    const seconds = frame / rate;
    if (seconds * rate === frame) return seconds;
    const up = seconds * (1 + Number.EPSILON), down = seconds * (1 - Number.EPSILON / 2);
    return [up, down].find((near) => near * rate === frame) ?? seconds;
  }

  // ---- levels over frequency

  const LONG = 32768, SHORT = 8192, SPLIT = 400; // frames of the windows under and over so many Hz
  const WINDOW_POWER = 0.42 ** 2 + 0.5 ** 2 / 2 + 0.08 ** 2 / 2; // mean square of Web Audio's Blackman window
  const HIGHEST_EDGE = 0.475; // of the rate

  /* Third octaves of a node's last half second, as mean square over its channels relative to 1, in dB. */
  class Spectrum {
    constructor(context, channels, from) {
      this.rate = context.sampleRate;
      const splitter = new ChannelSplitterNode(context, { numberOfOutputs: channels });
      this.analysers = [LONG, SHORT].map((fftSize) => Array.from({ length: channels }, (_, channel) => {
        const analyser = new AnalyserNode(context, { fftSize, smoothingTimeConstant: 0 });
        splitter.connect(analyser, channel);
        return analyser;
      }));
      this.bins = new Float32Array(LONG / 2);
      from.connect(splitter);
    }

    /* Power up to each bin's lower edge, summed up; the mean over the channels. */
    power(analysers) {
      const bins = this.bins.subarray(0, analysers[0].frequencyBinCount);
      const summed = new Float64Array(bins.length + 1);
      for (const analyser of analysers) {
        analyser.getFloatFrequencyData(bins);
        let all = 0;
        for (let n = 0; n < bins.length; n += 1) {
          all += 10 ** (bins[n] / 10);
          summed[n + 1] += (2 * all) / WINDOW_POWER / analysers.length;
        }
      }
      return summed;
    }

    bands() {
      const [long, short] = this.analysers.map((analysers) => this.power(analysers));
      const upTo = (summed, frequency) => {
        const place = (frequency / this.rate) * 2 * (summed.length - 1) + 0.5; // bin n reaches half a bin about n
        const left = Math.floor(place);
        return summed[left] + (place - left) * (summed[left + 1] - summed[left]);
      };
      return Numbers.thirds.map((frequency, place) => ({ frequency, ...Numbers.third(place) }))
        .filter(({ high }) => high <= HIGHEST_EDGE * this.rate)
        .map(({ frequency, low, middle, high }) => {
          const summed = middle < SPLIT ? long : short;
          return { frequency, level: 10 * Math.log10(upTo(summed, high) - upTo(summed, low)) };
        });
    }
  }

  // ---- what is wired up, in a context that plays or in one that does not

  /* Responses side by side. A branch is known by its place in `responses` (AudioBuffers of one delay). */
  class Graph {
    constructor(context, channels, responses) {
      this.context = context;
      this.responses = responses;
      this.branches = new Map(); // the one used last stands last
      // Said outright: what rings on once the source has ended would be taken for one channel.
      this.channels = { channelCount: channels, channelCountMode: "explicit" };
      this.input = new GainNode(context, this.channels);
      this.mix = new GainNode(context, this.channels);
    }

    /* The branch of that place; where it is new, it is warm at `warm` s: a response's length from now. */
    branch(place, running = false) {
      const known = this.branches.get(place);
      this.branches.delete(place);
      const branch = known ?? this.made(place, running);
      this.branches.set(place, branch);
      return branch;
    }

    made(place, running) {
      const { context } = this, buffer = this.responses[place];
      const convolver = new ConvolverNode(context, { ...this.channels, disableNormalization: true, buffer });
      const level = new GainNode(context), fade = new GainNode(context, { gain: 0 });
      this.input.connect(convolver).connect(level).connect(fade).connect(this.mix);
      return { place, convolver, level, fade, warm: running ? context.currentTime + AHEAD + buffer.duration : 0 };
    }

    /* Let go of what was not used for longest, but for those. */
    prune(kept) {
      for (const [place, branch] of this.branches) {
        if (this.branches.size <= WARM) return;
        if (kept.includes(branch)) continue;
        this.input.disconnect(branch.convolver);
        branch.level.disconnect();
        branch.fade.disconnect();
        this.branches.delete(place);
      }
    }

    /* At `time`, let one branch go and another come. */
    crossFade(time, from, to) {
      from?.fade.gain.setValueCurveAtTime(FALL, time, FADE);
      to.fade.gain.setValueCurveAtTime(RISE, time, FADE);
    }

    /* The programme, into all branches; or to a node before them. */
    source(buffer, loop, into = this.input) {
      const node = new AudioBufferSourceNode(this.context, { buffer });
      if (loop) {
        const [loopStart, loopEnd] = loop.map((frame) => secondsOf(frame, buffer.sampleRate));
        Object.assign(node, { loop: true, loopStart, loopEnd });
      }
      node.connect(into);
      return node;
    }
  }

  /* A graph that is heard: it remembers what it plays from where, and fades from one branch to the next. */
  class Player {
    constructor(context, buffer, responses, delay, ended) {
      this.context = context;
      this.buffer = buffer;
      this.delay = delay;
      this.ended = ended;
      const channels = Math.min(2, buffer.numberOfChannels);
      this.graph = new Graph(context, channels, responses);
      this.transport = new GainNode(context, { gain: 0 });
      this.volume = new GainNode(context);
      this.graph.mix.connect(this.transport).connect(this.volume).connect(context.destination);
      this.spectrum = new Spectrum(context, channels, this.transport);
      this.beside = new GainNode(context, this.graph.channels);
      this.besideSpectrum = new Spectrum(context, channels, this.beside);
      this.over = null; // the branch overlaid
      this.current = null; // the branch heard
      this.gain = 1; // of it
      this.free = 0; // s; when the last fade is over
      this.pieces = []; // what was started: {node, gain, frame, offset, loop}, and until when it fades in
      this.looked = 0; // s; since when the latest lead of one clock over the other is known, and the one before
      this.lead = this.latest = -Infinity;
      this.silent = 0; // s; when what was stopped has faded out
      this.opened = false; // once it was, what starts is there at once
    }

    get rate() { return this.context.sampleRate; }
    get playing() { return this.pieces.length > 0; }
    get soon() { return Math.ceil((this.now() + AHEAD) * this.rate); }

    /* s on the context's clock, which a busy page is told late: by the other clock, it is further on. */
    now() {
      const { currentTime, state } = this.context, clock = performance.now() / 1000;
      if (state !== "running") return currentTime;
      const age = clock - this.looked;
      if (age > REMEMBERED) {
        this.lead = age > 2 * REMEMBERED ? -Infinity : this.latest;
        [this.latest, this.looked] = [-Infinity, clock];
      }
      this.latest = Math.max(this.latest, currentTime - clock);
      return Math.max(currentTime, Math.min(currentTime + LATE, clock + Math.max(this.lead, this.latest)));
    }

    /* Of the piece that plays at a frame of the context: which frame of the programme it sends. */
    sent(frame) {
      const { pieces } = this;
      const piece = pieces.findLast((one) => one.frame <= frame) ?? pieces[0];
      const at = piece.offset + Math.max(0, frame - piece.frame);
      if (!piece.loop || at < piece.loop[1]) return Math.min(at, this.buffer.length);
      const [from, to] = piece.loop;
      return from + ((at - from) % (to - from));
    }

    /* Which frame of the programme leaves now. */
    get frame() {
      this.now(); // whoever asks for the place again and again keeps the clocks known
      return this.sent(Math.round(this.context.currentTime * this.rate) - this.delay);
    }

    start(frame, offset, loop, softly) {
      const { context, graph } = this, time = secondsOf(frame, this.rate);
      const gain = new GainNode(context, { ...graph.channels, gain: softly ? 0 : 1 });
      const node = graph.source(this.buffer, loop, gain);
      gain.connect(graph.input);
      if (softly) gain.gain.setValueCurveAtTime(RISE, time, FADE);
      const piece = { node, gain, frame, offset, loop, faded: softly ? time + FADE : time };
      node.onended = () => {
        gain.disconnect();
        if (this.pieces.at(-1) === piece) this.ended();
      };
      node.start(time, secondsOf(offset, this.rate));
      this.pieces = [...this.pieces.slice(-1), piece]; // what leaves now may still be of the one before
    }

    play(offset, loop) {
      const frame = this.opened ? this.soon : Math.max(this.soon, Math.ceil(this.silent * this.rate));
      const time = secondsOf(frame, this.rate), { gain } = this.transport;
      if (!this.opened) {
        gain.cancelScheduledValues(time);
        gain.setValueAtTime(0, time);
        gain.setTargetAtTime(1, time, OPENS);
      }
      this.opened = true;
      this.pieces = [];
      this.start(frame, offset, loop, true);
    }

    stop() {
      for (const { node, gain, faded } of this.pieces.slice(-1)) {
        const time = Math.max(this.now() + AHEAD, faded);
        gain.gain.setValueCurveAtTime(FALL, time, FADE);
        this.silent = time + FADE;
        node.onended = () => gain.disconnect();
        node.stop(this.silent);
      }
      this.pieces = [];
    }

    /* Go on with another loop, or none: seamlessly, if the place is before its end. */
    loop(loop) {
      const last = this.pieces.at(-1);
      const frame = Math.max(this.soon, Math.ceil(last.faded * this.rate)), at = this.sent(frame);
      if (loop && at >= loop[1]) {
        this.stop();
        this.play(loop[0], loop);
        return;
      }
      last.node.stop(secondsOf(frame, this.rate));
      this.start(frame, at, loop, false);
    }

    /* Bring up what is wanted, the last `rise` dB of it slowly; gives s to come back in, if not yet. */
    turn(place, gain, rise) {
      const branch = this.graph.branch(place, this.playing);
      if (branch === this.current && gain === this.gain) return 0;
      const now = this.now() + AHEAD;
      const wait = Math.max(this.free, branch.warm) - now;
      if (wait > 0) return wait;
      const slowly = rise > 0 && this.playing, left = this.current;
      const first = slowly ? gain * Numbers.amplitude(-rise) : gain;
      const begins = slowly && branch === left ? now + TURNED * TURNS : now;
      if (rise > 0) this.opened &&= this.playing;
      if (branch !== left) {
        this.level(branch, first);
        this.graph.crossFade(now, left, branch);
        this.free = now + FADE;
        this.current = branch;
      }
      const { gain: level } = branch.level;
      level.cancelScheduledValues(now); // a rise that has not begun
      if (begins > now) level.setTargetAtTime(first, now, TURNS);
      level.setTargetAtTime(gain, begins, slowly ? RISES : TURNS);
      this.gain = gain;
      this.graph.prune([branch, left, this.over]);
      return 0;
    }

    /* At once: of a branch that is not heard. */
    level({ level }, gain) {
      level.gain.cancelScheduledValues(0);
      level.gain.setValueAtTime(gain, this.context.currentTime);
    }

    overlay(place, gain) {
      this.over?.level.disconnect(this.beside);
      this.over = place === null ? null : this.graph.branch(place, this.playing);
      if (!this.over) return;
      this.over.level.connect(this.beside);
      if (this.over !== this.current) this.level(this.over, gain);
    }
  }

  // ---- rows: all that can be heard

  const rowOf = (choice, step, { signal, across, taps, loudness, peak, level_match = null }, rate) => {
    const found = taps instanceof Float32Array ? taps : tapsOf(taps);
    return {
      choice, step, signal, across, level_match, inside: { loudness, peak }, response: responseOf(found, rate),
      most: found.reduce((all, tap) => all + Math.abs(tap), 0), // no peak grows by more
    };
  };

  function rowsOf(data) {
    const { rate, programme } = data;
    const delay = new Float32Array(data.delay + 1);
    delay[data.delay] = 1;
    const source = { ...programme, signal: "source", across: BOTH, taps: delay };
    const steps = [data.signals, ...(data.steps?.signals ?? [])];
    return [
      rowOf(null, null, source, rate),
      ...steps.flatMap((signals, n) =>
        signals.map((one) => rowOf(one.choice, n === 0 ? null : n - 1, one, rate))),
    ];
  }

  const known = (loudness) => loudness ?? -Infinity;

  /* Levels of a file from outside, before they are measured: as the programme inside fares; no peak higher. */
  function predicted(rows, own) {
    return rows.map(({ inside, most }, n) => (n === 0 ? own : {
      loudness: known(own.loudness) + known(inside.loudness) - known(rows[0].inside.loudness),
      peak: own.peak * most,
    })).map(({ loudness, peak }) => ({ loudness: Number.isNaN(loudness) ? -Infinity : loudness, peak }));
  }

  /* A programme as one or two channels, at the rate of the page; `fail(key, values)` where it cannot be had. */
  async function accepted(name, bytes, rate, fail) {
    if (bytes.byteLength > MOST_BYTES) fail("too-large", { name });
    const buffer = await decode(bytes, rate).catch(() => fail("undecodable", { name }));
    if (!(buffer.length > 0)) fail("undecodable", { name });
    if (buffer.duration > MOST_SECONDS) fail("too-long", { name, minutes: MOST_SECONDS / 60 });
    const channels = buffer.numberOfChannels;
    if (channels <= 2) return buffer;
    if (!FOLDED.includes(channels)) fail("too-many-channels", { name, channels });
    const context = new OfflineAudioContext(2, buffer.length, rate);
    const node = new AudioBufferSourceNode(context, { buffer });
    node.connect(context.destination);
    node.start();
    return Object.assign(await context.startRendering(), { foldedFrom: channels });
  }

  /* The channels of a programme as a row of `rows` has it, the delay of all responses taken out. */
  async function rendered(buffer, rows, place, gain, delay) {
    const { numberOfChannels: channels, sampleRate: rate } = buffer;
    const context = new OfflineAudioContext(channels, buffer.length + delay, rate);
    const graph = new Graph(context, channels, rows.map(({ response }) => response));
    const branch = graph.branch(place);
    branch.fade.gain.value = 1;
    branch.level.gain.value = gain;
    graph.mix.connect(context.destination);
    graph.source(buffer).start();
    return channelsOf(await context.startRendering()).map((samples) => samples.subarray(delay));
  }

  class Sound extends EventTarget {
    #data; #say; #rows; #home; #programme; #gains; #context = null; #player = null; #timer = 0; #asked = 0; #taken = 0;
    #at = 0; #loop = null; #wished = false; // frames, frames, whether it is to play
    #heard = { choice: null, signal: "source", across: BOTH };
    #overlaid = null; #step = null; #frozen = null; #turned = 0;
    #way; #volume = START_VOLUME;
    #fail = (key, values = {}) => {
      throw Object.assign(new Error(this.#say(key, values)), { key, values });
    };

    constructor(data, say = (key) => key) {
      super();
      this.#data = data;
      this.#say = say;
      this.#rows = rowsOf(data);
      const { match, drops, makeup } = data.offered ?? {};
      this.#way = { match: match ?? "installed", drops: drops ?? "one", makeup: makeup ?? null };
      globalThis.document?.addEventListener("visibilitychange", () => this.#wake());
    }

    async load() {
      const { data, name, sha256 } = this.#data.programme;
      const buffer = await decode(bytesOf(data).buffer, this.rate)
        .catch(() => this.#fail("undecodable", { name }));
      this.#home = { name, sha256, buffer, levels: this.#rows.map(({ inside }) => inside), certain: true };
      this.#use(this.#home);
    }

    /* Another programme, from a file. Gives true once its levels are measured, false if it was put away before. */
    async open(name, bytes, progress = () => {}) {
      const asked = this.#asked += 1;
      let file = new Uint8Array(bytes.slice(0)); // decoding takes the bytes away
      const buffer = await accepted(name, bytes, this.rate, this.#fail);
      const own = await Numbers.measure(channelsOf(buffer), this.rate);
      if (asked < this.#taken) return false;
      this.#taken = asked; // only now: one that is refused puts no other away
      const programme = { name, buffer, levels: predicted(this.#rows, own), certain: false };
      this.#use(programme);
      const sha256 = await Numbers.fingerprint(file);
      file = null; // it may be as large as all that follows
      const levels = [own];
      for (let place = 1; place < this.#rows.length; place += 1) {
        progress((place - 1) / (this.#rows.length - 1));
        const heard = await rendered(buffer, this.#rows, place, 1, this.#data.delay);
        const gain = this.#rows[place].signal === "drop" ? Numbers.DROP_GATED_AFTER : 0;
        if (asked === this.#taken) levels.push(await Numbers.measure(heard, this.rate, gain));
        if (asked !== this.#taken) return false;
      }
      Object.assign(programme, { levels, sha256, certain: true });
      progress(1);
      this.#balance();
      return true;
    }

    back() {
      this.#taken = this.#asked += 1;
      if (this.#programme !== this.#home) this.#use(this.#home);
    }

    #use(programme) {
      this.pause();
      this.#drop();
      this.#programme = programme;
      this.#at = 0;
      this.#loop = null;
      this.#balance();
    }

    #changed() { this.dispatchEvent(new Event("change")); }

    // ---- the programme, and the place in it

    get rate() { return this.#data.rate; }
    get name() { return this.#programme.name; }
    get certain() { return this.#programme.certain; }
    /* Of the bytes of the file that the programme is of; of one from outside, once all is measured. */
    get sha256() { return this.#programme.sha256; }
    get inside() { return this.#programme === this.#home; }
    /* How many channels the file had, where it had more than two. */
    get foldedFrom() { return this.#programme.buffer.foldedFrom ?? null; }
    get seconds() { return this.#programme.buffer.duration; }
    get playing() { return this.#wished; }
    get looped() { return this.#loop && this.#loop.map((frame) => frame / this.rate); }
    get frame() { return this.#player?.playing ? this.#player.frame : this.#at; }
    /* s that the device holds sound back, as far as the browser knows. */
    get latency() { return this.#context?.outputLatency || 0; }
    get position() { return this.frame / this.rate; }

    play() {
      if (!this.#wished && this.#at >= this.#programme.buffer.length) this.#at = this.#loop?.[0] ?? 0;
      this.#made();
      this.#wished = true;
      this.#wake();
      if (!this.#player.playing) this.#player.play(this.#at, this.#loop);
      this.#changed();
    }

    pause() {
      if (!this.#wished) return;
      this.#keep();
      this.#wished = false;
      this.#changed();
    }

    /* Remember the place, and be silent. */
    #keep() {
      this.#at = this.frame;
      if (this.#player?.playing) this.#player.stop();
    }

    seek(seconds) {
      const frame = Math.round(seconds * this.rate);
      this.#keep();
      this.#at = Math.min(Math.max(0, frame), this.#programme.buffer.length);
      if (this.#loop && this.#at >= this.#loop[1]) this.#at = this.#loop[0];
      if (this.#wished && this.#player) this.#player.play(this.#at, this.#loop);
      this.#changed();
    }

    loop(from, to) {
      const frames = this.#programme.buffer.length;
      const [first, last] = [from, to].map((at) => Math.min(frames, Math.max(0, Math.round(at * this.rate))));
      if (last - first < SHORTEST_LOOP * this.rate) this.#fail("loop-too-short");
      this.#loop = [first, last];
      if (!this.#player?.playing) this.#at = this.#at >= last ? first : this.#at;
      this.#looped();
    }

    unloop() {
      this.#loop = null;
      this.#looped();
    }

    #looped() {
      if (this.#player?.playing) this.#player.loop(this.#loop);
      this.#changed();
    }

    /* A context and all in it, at the user's first action: before, browsers would not let it run. */
    #made() {
      if (this.#player) return;
      this.#context ??= this.#opened();
      const responses = this.#rows.map(({ response }) => response);
      const { buffer } = this.#programme;
      this.#player = new Player(this.#context, buffer, responses, this.#data.delay, () => this.#ended());
      this.#player.volume.gain.value = this.#amplitude;
      const here = (place) => place === 0 || this.#rows[place].step === this.#step;
      const frozen = (this.#frozen ?? []).map(({ place }) => place);
      const places = [...new Set([...frozen, ...this.#rows.map((_, place) => place).filter(here)])];
      for (const place of places.slice(0, WARM)) this.#player.graph.branch(place);
      this.#turn();
      this.overlay(this.#overlaid);
    }

    #opened() {
      const context = this.#device();
      const heed = () => {
        if (context.state === "closed") this.#lost(context);
        else this.#wake();
      };
      context.addEventListener("statechange", heed);
      context.addEventListener("error", () => this.#lost(context));
      return context;
    }

    #device() {
      try {
        return new AudioContext({ sampleRate: this.rate, latencyHint: "interactive" });
      } catch {
        return this.#fail("no-device");
      }
    }

    /* The device went away: keep the place, and open another one at the next start. */
    #lost(context) {
      if (context !== this.#context) return;
      this.#at = this.frame;
      this.#player = this.#context = null;
      this.#wished = false;
      if (context.state !== "closed") context.close();
      this.#changed();
    }

    /* Phones stop a context as they like, and with it its clock: the place is kept, it only has to go on. */
    #wake() {
      const hidden = globalThis.document?.visibilityState === "hidden";
      if (this.#wished && !hidden && this.#context && this.#context.state !== "running") {
        this.#context.resume().catch(() => {});
      }
    }

    #ended() {
      this.#at = this.#programme.buffer.length;
      this.#wished = false;
      this.#player.pieces = [];
      this.#changed();
      this.dispatchEvent(new Event("end"));
    }

    /* Without what is wired up now: another programme needs another. */
    #drop() {
      clearTimeout(this.#timer);
      const player = this.#player;
      this.#player = null;
      if (player) setTimeout(() => player.volume.disconnect(), 1000 * RINGS);
    }

    // ---- what is heard, and how loud

    #place({ choice, signal, across = BOTH }, step = this.#step) {
      if (signal === "source") return 0;
      const conductors = signal === "drop" ? across : BOTH;
      const found = this.#rows.findIndex((row) => row.choice === choice && row.signal === signal &&
        row.across === conductors && row.step === step);
      if (found < 1) throw new RangeError(`no signal ${signal} over ${across} of choice ${choice}`);
      return found;
    }

    /* As Numbers.balance takes them: a choice at another step is another choice. */
    #levels() {
      const choices = this.#data.choices.length;
      return this.#rows.map(({ choice, signal, across, step, level_match }, n) => {
        const { loudness, peak } = this.#programme.levels[n];
        const id = choice === null || step === null ? choice : (step + 1) * choices + choice;
        return { choice: id, signal, across, loudness: known(loudness), peak, level_match };
      });
    }

    #balance() {
      const levels = this.#levels();
      this.#gains = Numbers.balance(levels[0].loudness, levels, this.#way);
      this.#turn();
      this.overlay(this.#overlaid);
      this.#changed();
    }

    get heard() { return { ...this.#heard }; }
    get way() { return { ...this.#way }; }
    get steps() { return this.#step; }
    /* All that can be heard at this step, before any gain, and its gains. */
    get levels() {
      const rows = this.#rows.map((row, n) => ({ ...row, n }));
      return rows.filter(({ choice, step }) => choice === null || step === this.#step)
        .map(({ choice, signal, across, n }) => {
          const { loudness, peak } = this.#programme.levels[n];
          return { choice, signal, across, loudness: known(loudness), peak, ...this.#gains[n] };
        });
    }

    gains(heard) { return { ...this.#gains[this.#place(heard)] }; }

    hear(heard) {
      this.#place(heard);
      this.#heard = { across: BOTH, ...heard };
      this.#turn();
      this.#changed();
    }

    setWay(way) {
      this.#way = { ...this.#way, ...way };
      this.#balance();
    }

    /* A step of the slider; null: the rig as it is. */
    step(at) {
      if (at !== null && !this.#data.steps?.signals[at]) throw new RangeError(`no step ${at}`);
      this.#step = at;
      this.#turn();
      this.overlay(this.#overlaid);
      this.#changed();
    }

    /* For a trial: two that are heard, made equally loud and kept so. */
    freeze(list) {
      const places = list.map((heard) => this.#place(heard));
      const levels = this.#levels();
      const gains = Numbers.frozen(levels[0].loudness, levels, places);
      if (!gains) this.#fail("too-quiet");
      this.#frozen = places.map((place, n) => ({ place, dB: gains[n] }));
      // Both warm, so that which of them is asked for cannot be told by how soon it comes.
      for (const place of places) this.#player?.graph.branch(place, this.#player.playing);
      this.hearFrozen(0);
      if (this.#player) this.#player.opened = false; // so they begin softly, both alike
      if (this.#wished) this.seek(this.position);
      return gains;
    }

    hearFrozen(which) {
      this.#turned = which;
      this.#turn();
    }

    thaw() {
      this.#frozen = null;
      this.#turn();
      this.#changed();
    }

    get #wanted() {
      if (this.#frozen) return this.#frozen[this.#turned];
      const place = this.#place(this.#heard);
      return { place, dB: this.#gains[place].total };
    }

    /* True once what is wanted is all that sounds. */
    get settled() {
      const player = this.#player;
      return Boolean(player?.playing && player.current?.place === this.#wanted.place &&
        player.context.currentTime >= player.free);
    }

    /* What is wanted comes as soon as it is warm and the last fade is over. */
    #turn() {
      clearTimeout(this.#timer);
      if (!this.#player) return;
      const { place, dB } = this.#wanted;
      const wait = this.#player.turn(place, Numbers.amplitude(dB), this.#rise(place, dB));
      if (wait > 0) this.#timer = setTimeout(() => this.#turn(), 1000 * wait + 1);
    }

    /* dB of what is wanted that would be too sudden; of a trial none, as it would tell the two apart. */
    #rise(place, dB) {
      const { current, gain } = this.#player;
      if (!current || this.#frozen) return 0;
      const loudness = (n) => known(this.#programme.levels[n].loudness);
      const louder = loudness(place) + dB - loudness(current.place) - Numbers.decibels(gain);
      return Number.isNaN(louder) ? 0 : Math.min(MOST_RISE, Math.max(0, louder - MOST_JUMP));
    }

    get volume() { return this.#volume; }
    get #amplitude() { return this.#volume > LEAST_VOLUME ? Numbers.amplitude(this.#volume) : 0; }

    /* dB up to 0; at the least, silence. */
    setVolume(dB) {
      this.#volume = Math.min(0, Math.max(LEAST_VOLUME, dB));
      const player = this.#player;
      player?.volume.gain.setTargetAtTime(this.#amplitude, player.context.currentTime + AHEAD, TURNS);
      this.#changed();
    }

    // ---- over frequency, and without sound

    /* {frequency, level} of what sounds, before the volume; nothing before the first start, or in a trial. */
    spectrum() { return (!this.#frozen && this.#player?.spectrum.bands()) || []; }

    /* Have another signal beside what sounds, at its gain, unheard; null: none. */
    overlay(heard) {
      this.#overlaid = heard;
      const place = heard && this.#place(heard);
      this.#player?.overlay(place, heard && Numbers.amplitude(this.#gains[place].total));
    }

    overlaySpectrum() {
      return (!this.#frozen && this.#overlaid && this.#player?.besideSpectrum.bands()) || [];
    }

    /* All of the programme as it is heard, in step with the source, at its gain. */
    async offline(heard) {
      const place = this.#place(heard), gain = Numbers.amplitude(this.#gains[place].total);
      const { buffer } = this.#programme;
      const channels = await rendered(buffer, this.#rows, place, gain, this.#data.delay);
      const { length, sampleRate } = buffer;
      const found = new AudioBuffer({ length, numberOfChannels: channels.length, sampleRate });
      channels.forEach((samples, n) => found.copyToChannel(samples, n));
      return found;
    }
  }

  Sound.Graph = Graph;
  Sound.Spectrum = Spectrum;
  Sound.rowsOf = rowsOf;
  Sound.secondsOf = secondsOf;
  return Sound;
})();
