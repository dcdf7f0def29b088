"use strict";
/* Blind trials: the same plan, commitment, seals and log as the bench has, see trials/plan.py and trials/log.py,
 * so that `auralize trials` reads the log and checks it. Trial knows no DOM, openTrial is its dialog.
 *
 * Nothing of the page tells the order before the end. Who runs the page can read its memory, though, and the
 * log says that it was held on one. */
const { Trial, openTrial } = (() => {

  const FORMAT = "auralize listening session 1";
  const SEED_BYTES = 32, MOST_TRIALS = 10000, LONGEST_TEXT = 500;
  const LEAST_HEARD = 0.2; // s of its sound after which a presentation counts as listened to
  const MATCH = "made equally loud"; // in every session; words of the log, not of the page
  const NO_CABLE = "no cable";
  const ASKED = "\u25b8 "; // stands before what is heard, so that colour is not all that tells it

  const fill = (words, values = {}) => words.replace(/\{(\w+)\}/g, (all, name) => (name in values ? values[name] : all));

  /* An error with a sentence for the listener. */
  const refusal = (words, values) => Object.assign(new Error(fill(words, values)), { refused: true });

  // ---- text as Python has it

  /* A float as repr() writes it: the shortest digits that give it again. */
  function pythonFloat(value) {
    const [mantissa, power] = value.toExponential().split("e");
    const exponent = Number(power), digits = mantissa.replace(/[-.]/g, "");
    const sign = value < 0 || Object.is(value, -0) ? "-" : "";
    if (exponent < -4 || exponent >= 16) {
      const rest = digits.slice(1);
      const at = `${exponent < 0 ? "-" : "+"}${String(Math.abs(exponent)).padStart(2, "0")}`;
      return `${sign}${digits[0]}${rest && `.${rest}`}e${at}`;
    }
    if (exponent < 0) return `${sign}0.${"0".repeat(-exponent - 1)}${digits}`;
    const padded = digits.padEnd(exponent + 2, "0");
    return `${sign}${padded.slice(0, exponent + 1)}.${padded.slice(exponent + 1)}`;
  }

  /* JSON in ASCII as Python's encoder writes it without spaces. */
  function encode(value, key = "") {
    if (typeof value === "string") {
      const escaped = (letter) => `\\u${letter.charCodeAt(0).toString(16).padStart(4, "0")}`;
      return JSON.stringify(value).replace(/[\u007f-\uffff]/g, escaped);
    }
    if (Array.isArray(value)) return `[${value.map((one) => encode(one)).join(",")}]`;
    if (value === null) return "null";
    if (typeof value === "object") {
      return `{${Object.entries(value).map(([name, one]) => `${encode(name)}:${encode(one, name)}`).join(",")}}`;
    }
    return key === "gain_db" ? pythonFloat(value) : String(value);
  }

  /* What a log takes as text: unprintable letters replaced, and no more than it may have. */
  const printable = (text) => [...text.replace(/[\p{C}\p{Z}]/gu, (letter) => (letter === " " ? " " : "\ufffd"))]
    .slice(0, LONGEST_TEXT).join("");

  const now = () => new Date().toISOString().replace("Z", "+00:00");
  const ascii = (text) => Uint8Array.from(text, (letter) => letter.charCodeAt(0));

  // ---- what is told in the end: the sentences of trials/statistics.py

  /* So many significant digits of a number from 0.001 up, a tie going to the even one, as Python rounds. */
  function significant(value, digits) {
    const [mantissa, power] = value.toExponential(60).split("e");
    const all = mantissa.replace(".", ""), rest = all.slice(digits);
    const kept = BigInt(all.slice(0, digits)), half = "5".padEnd(rest.length, "0");
    const up = rest > half || (rest === half && kept % 2n === 1n);
    return String(Number(`${kept + (up ? 1n : 0n)}e${Number(power) - digits + 1}`));
  }

  function percent(words, share, digits = 2) {
    const value = 100 * share;
    if (share === 0 || share === 1) return fill(words.percent, { value });
    if (value < 0.001) return words.percent_least;
    return value > 99 ? words.percent_most : fill(words.percent, { value: significant(value, digits) });
  }

  /* One plain sentence; a score that shows nothing is never called proof of sameness. */
  function verdict(result, words) {
    const { correct, trials, probability, needed } = result;
    const level = percent(words, 0.05);
    const chance = fill(words.chance, { correct, trials, probability: percent(words, probability, 3) });
    if (needed === null) return fill(trials === 1 ? words.too_few_one : words.too_few, { chance, trials, level });
    return fill(correct >= needed ? words.shown : words.not_shown, { chance, needed, level });
  }

  /* The verdict, then the size of what was heard. */
  function findings(result, words) {
    const sure = fill(words.confidence, { share: percent(words, result.confidence) });
    const span = (limits) => {
      const [low, high] = limits.map((limit) => percent(words, limit));
      return fill(words.span, { low, high });
    };
    const number = (value) => (Number.isFinite(value) ? value.toFixed(2) : words.beyond);
    const right = fill(words.right, {
      sure, share: percent(words, result.proportion), span: span(result.proportionLimits),
      guess: percent(words, result.guess),
    });
    if (result.proportionLimits[1] <= result.guess) return [verdict(result, words), right, words.fewer];
    const [low, high] = result.dPrimeLimits.map(number);
    return [
      verdict(result, words),
      right,
      fill(words.apart, {
        sure, share: percent(words, result.distinguishers), span: span(result.distinguishersLimits),
      }),
      fill(words.d_prime, { sure, low, high, value: number(result.dPrime), method: words[`method_${result.protocol}`] }),
    ];
  }

  // ---- what is compared

  const same = (a, b) => a.choice === b.choice && a.signal === b.signal && a.across === b.across;

  /* The name of what is heard, as the bench writes it into its logs. */
  function nameOf(heard, data) {
    if (heard.signal === "source") return "source";
    const over = heard.signal === "drop" && heard.across !== "both" ? ` over ${heard.across}` : "";
    const signal = heard.signal === "drop" ? "drop" : "receiving end";
    return `${signal}${over} of ${data.choices[heard.choice].name}`;
  }

  /* Of the source nothing stands in the rig: the SHA-256 of nothing. */
  function comparedOf(heard, gain, data) {
    const { built, rig_sha256 } = data.choices[heard.choice] ?? { built: NO_CABLE, rig_sha256: Numbers.sha256(new Uint8Array()) };
    return { name: printable(nameOf(heard, data)), gain_db: gain, built: printable(built), rig_sha256 };
  }

  /* {programme, programme_sha256}: the one inside, with its place in the file it is of, or the listener's own. */
  function programmeOf(sound, data) {
    if (!sound.inside) return { programme: printable(sound.name), programme_sha256: sound.sha256 };
    const { name, from, seconds, whole, sha256 } = data.programme;
    const words = whole ? name : `${name}, ${seconds.toFixed(1)} s from ${from.toFixed(1)} s`;
    return { programme: printable(words), programme_sha256: sha256 };
  }

  /* How little the two differ, as it was worked out beforehand; nothing where one is the source. */
  function differenceOf([first, second], data) {
    const found = (data.differences ?? []).find(({ choices, signal, across }) => signal === first.signal &&
      across === first.across && choices.includes(first.choice) && choices.includes(second.choice));
    return printable(found?.words ?? "");
  }

  function checkWish({ trials, listener, pair }, words) {
    if (!Number.isInteger(trials) || trials < 1 || trials > MOST_TRIALS) {
      throw refusal(words.trials_wrong, { most: MOST_TRIALS });
    }
    if (!listener.trim()) throw refusal(words.listener_missing);
    if (listener.trim() !== printable(listener.trim())) throw refusal(words.listener_wrong, { most: LONGEST_TEXT });
    if (same(...pair)) throw refusal(words.same);
  }

  // ---- a session

  class Trial {
    #seed; #order; #sound; #data; #words; #programme; #step;
    #answers = []; #lines = []; #seal = ""; #over = false;
    #asked = null; #listened = new Set(); #heard = 0; #last = null;

    /* wish: {protocol, trials, listener, pair: two of what can be heard}. Throws an Error with a sentence; and
     * nothing was begun then. */
    constructor(sound, data, wish, words) {
      checkWish(wish, words);
      if (!sound.certain) throw refusal(words.uncertain);
      this.#sound = sound;
      this.#data = data;
      this.#words = words;
      this.#programme = programmeOf(sound, data);
      this.#step = sound.steps ?? null;
      if (this.#step !== null) sound.step(null); // the log tells of the rig as it is
      const gains = sound.freeze(wish.pair);
      this.plan = {
        protocol: wish.protocol, trials: wish.trials,
        choices: wish.pair.map((heard, n) => comparedOf(heard, gains[n], data)),
        match: MATCH, ...this.#programme, listener: wish.listener.trim(), difference: differenceOf(wish.pair, data), row: null,
      };
      this.#seed = crypto.getRandomValues(new Uint8Array(SEED_BYTES));
      this.#order = Numbers.order(this.#seed, wish.protocol, wish.trials);
      const opening = { record: "opening", format: FORMAT, version: data.version, ...this.plan, held: "page", at: now() };
      const facts = encode(opening).slice(0, -1);
      this.commitment = Numbers.sha256(Uint8Array.from([...this.#seed, ...ascii(facts)]));
      this.#write(`${facts},"commitment":"${this.commitment}"`);
    }

    get answered() { return this.#answers.length; }
    get over() { return this.#over; }
    get complete() { return this.#over && this.answered === this.plan.trials; }
    /* The presentation that was asked for last in this trial. */
    get heard() { return this.#asked; }
    /* Seal of the last line: at the end it stands for the whole session. */
    get fingerprint() { return this.#seal; }

    /* The line before its seal, sealed. */
    #write(body) {
      this.#seal = Numbers.sha256(ascii(this.#seal + body));
      this.#lines.push(`${body},"seal":"${this.#seal}"}\n`);
    }

    #append(record) { this.#write(encode(record).slice(0, -1)); }

    #checkOpen() {
      if (this.#over) throw refusal(this.#words.ended);
      if (encode(programmeOf(this.#sound, this.#data)) !== encode(this.#programme)) throw refusal(this.#words.changed);
    }

    /* Let a presentation be heard, from 0; it counts once enough of it sounded. */
    present(number) {
      this.#checkOpen();
      this.look();
      this.#sound.hearFrozen(this.#order[this.answered].plays[number]);
      if (!this.#sound.playing) this.#sound.play();
      this.#asked = number;
      this.#heard = 0;
      this.#last = null;
    }

    /* Count what is heard now; to be called often. What the device still holds back is not heard yet. */
    look() {
      if (this.#asked === null) return;
      const { settled, playing, position, latency = 0 } = this.#sound;
      const here = settled && playing ? { position, clock: performance.now() / 1000 } : null;
      if (here && this.#last) {
        const moved = Math.min(here.position - this.#last.position, here.clock - this.#last.clock);
        this.#heard += Math.max(0, moved);
      }
      this.#last = here;
      if (this.#heard >= LEAST_HEARD + latency) this.#listened.add(this.#asked);
    }

    /* Nothing is heard from now on; what was listened to still counts. */
    pause() {
      this.look();
      this.#sound.pause();
      this.#asked = null;
    }

    /* The presentations to be listened to before an answer is taken. */
    get missing() {
      this.look();
      return [0, 1, 2].filter((number) => !this.#listened.has(number));
    }

    /* Give the answer to this trial, from 0, and go to the next one; the last one ends the session. */
    answer(index) {
      this.#checkOpen();
      const { answers } = Numbers.PROTOCOLS[this.plan.protocol];
      if (!Number.isInteger(index) || index < 0 || index >= answers) throw refusal(this.#words.answer_missing);
      const { missing } = this;
      if (missing.length) throw refusal(this.#words.listen_first, { which: missing.map((number) => number + 1).join(", ") });
      this.#append({ record: "answer", trial: this.answered + 1, answer: index, at: now() });
      this.#answers.push(index);
      this.pause();
      this.#listened.clear();
      if (this.answered === this.plan.trials) this.#close("complete");
    }

    /* End the session here: it does not count, and its log says so. */
    giveUp() {
      if (!this.#over) this.#close("given up");
    }

    #close(end) {
      this.pause();
      this.#append({ record: "closing", end, correct: this.#correct, seed: Numbers.hex(this.#seed), at: now() });
      this.#over = true;
      this.#sound.thaw();
      if (this.#step !== null) this.#sound.step(this.#step);
    }

    get #correct() {
      return this.#answers.filter((answer, trial) => answer === this.#order[trial].right).length;
    }

    /* {seed, right, answers, result}; nothing before all trials are answered. */
    get outcome() {
      if (!this.complete) return null;
      return {
        seed: Numbers.hex(this.#seed),
        right: this.#order.map(({ right }) => right),
        answers: [...this.#answers],
        result: Numbers.evaluate(this.#correct, this.plan.trials, this.plan.protocol),
      };
    }

    /* What `auralize trials` reads: so far, without the seed before the end. */
    get log() { return this.#lines.join(""); }
  }

  Object.assign(Trial, { encode, findings, percent });

  // ---- the dialog

  /* An element with properties, and what is inside; text stays text. */
  function element(tag, properties = {}, ...inside) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(properties)) {
      if (name in made) made[name] = value;
      else made.setAttribute(name, value);
    }
    made.append(...inside);
    return made;
  }

  const labelled = (words, field) => element("label", {}, words, " ", field);

  /* A group of which one is chosen: [[value, words]]. */
  function choice(name, head, options, chosen) {
    const rows = options.map(([value, words]) => {
      const field = element("input", { type: "radio", name, value, checked: value === chosen });
      return element("label", { className: "option" }, field, element("span", { className: "words" }, words));
    });
    return element("fieldset", {}, element("legend", {}, head), ...rows);
  }

  const chosen = (form, name) => form.querySelector(`input[name="${name}"]:checked`)?.value ?? null;

  class TrialDialog {
    #sound; #data; #words; #box; #message; #trial = null; #sure = false; #stays = false; #watch = 0; #away = new AbortController();

    constructor(sound, data, words) {
      this.#sound = sound;
      this.#data = data;
      this.#words = words;
      this.#message = element("p", { role: "status", className: "told-now" });
      this.#box = element("dialog", { id: "trial-dialog", "aria-labelledby": "trial-head" });
      document.body.append(this.#box);
      this.#listen();
      this.#setUp();
      this.#box.showModal();
    }

    get #running() { return this.#trial !== null && !this.#trial.over; }

    #listen() {
      const { signal } = this.#away;
      this.#box.addEventListener("cancel", (event) => {
        this.#stays = this.#running;
        if (!this.#running) return;
        event.preventDefault();
        this.#giveUp();
      });
      this.#box.addEventListener("close", () => this.#closed());
      this.#box.addEventListener("keydown", (event) => this.#key(event));
      this.#sound.addEventListener("end", () => {
        if (!this.#running) return;
        this.#pause();
        this.#say(this.#words.programme_ended);
      }, { signal });
      window.addEventListener("beforeunload", (event) => { if (this.#running) event.preventDefault(); }, { signal });
      for (const kind of ["dragover", "drop"]) {
        window.addEventListener(kind, (event) => {
          event.preventDefault();
          event.stopImmediatePropagation(); // no other programme meanwhile
        }, { signal, capture: true });
      }
    }

    #show(head, ...inside) {
      this.#box.replaceChildren(element("h2", { id: "trial-head", tabIndex: -1 }, head), ...inside);
    }

    #say(words) { this.#message.textContent = words; }

    #button(words, act, properties = {}) {
      const made = element("button", { type: "button", ...properties }, words);
      made.addEventListener("click", act);
      return made;
    }

    /* Do something, or say why it cannot be done. */
    #attempt(act) {
      try {
        act();
      } catch (error) {
        this.#say(error.message);
      }
    }

    // -- what is asked for

    /* [signal, across] of what there is to compare. */
    get #kinds() {
      const kinds = this.#data.signals.map(({ signal, across }) => `${signal}-${across}`);
      return [...new Set(kinds)].map((kind) => kind.split("-"));
    }

    #candidates(kind) {
      const [signal, across] = kind.split("-");
      const ends = this.#data.signals.filter((one) => one.signal === signal && one.across === across);
      const source = signal === "receiving" ? [{ choice: null, signal: "source", across: "both" }] : [];
      return [...ends.map(({ choice: number }) => ({ choice: number, signal, across })), ...source];
    }

    #setUp() {
      const words = this.#words, { heard } = this.#sound;
      const begins = this.#kinds.map((kind) => kind.join("-"));
      const kind = begins.find((one) => one === `${heard.signal}-${heard.across}`) ?? begins[0];
      const selects = ["first", "second"].map((name) => element("select", { name }));
      const form = element("form", {},
        choice("protocol", words.protocol, ["matched-to-sample", "triangle"].map((one) => [one, words[`protocol_${one}`]]),
          "matched-to-sample"),
        choice("kind", words.kind, begins.map((one) => [one, words[`kind_${one}`]]), kind),
        element("p", { className: "pair" }, labelled(words.first, selects[0]), labelled(words.second, selects[1])),
        element("p", { className: "pair" },
          labelled(words.trials, element("input", { type: "number", name: "trials", min: 1, max: MOST_TRIALS, value: 16 })),
          labelled(words.listener, element("input", { type: "text", name: "listener", autocomplete: "off" }))),
        element("p", { className: "note" }, words.fixed),
        element("p", { className: "note" }, words.memory),
        ...(this.#data.steps ? [element("p", { className: "note" }, words.as_it_is)] : []),
        this.#message,
        element("p", { className: "pair" },
          element("button", { className: "main" }, words.begin),
          this.#button(words.close, () => this.#close())),
      );
      form.noValidate = true; // what is wrong is said in our words
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        this.#attempt(() => this.#begin(form));
      });
      form.addEventListener("change", (event) => { if (event.target.name === "kind") this.#fill(form, selects); });
      this.#fill(form, selects);
      this.#show(words.head, element("p", {}, words.about), form);
    }

    /* The two lists: what is heard first, and another one. */
    #fill(form, selects) {
      const found = this.#candidates(chosen(form, "kind"));
      const at = Math.max(0, found.findIndex((one) => one.choice === this.#sound.heard.choice));
      selects.forEach((select, n) => {
        select.replaceChildren(...found.map((heard, place) => new Option(nameOf(heard, this.#data), place)));
        select.value = (at + n) % found.length;
      });
    }

    #begin(form) {
      const found = this.#candidates(chosen(form, "kind"));
      const { first, second, trials, listener } = form.elements;
      this.#sound.pause();
      this.#trial = new Trial(this.#sound, this.#data, {
        protocol: chosen(form, "protocol"),
        pair: [first, second].map((select) => found[select.value]),
        trials: Number(trials.value),
        listener: listener.value,
      }, this.#words);
      this.#watch = setInterval(() => this.#trial.look(), 50);
      this.#sit();
    }

    // -- listening and answering: the same for every trial and every order

    get #question() {
      const { choices: [first, second], programme } = this.#trial.plan;
      return fill(this.#words.question, { first: first.name, second: second.name, programme });
    }

    #sit() {
      const words = this.#words, { plan, answered, commitment } = this.#trial;
      const protocol = words[plan.protocol];
      const listen = protocol.presentations.map((name, n) => this.#button(name, () => this.#present(n), {
        className: "presentation", "aria-pressed": "false", "aria-keyshortcuts": String(n + 1),
      }));
      const form = element("form", {},
        choice("answer", words.answer, protocol.answers.map((answer, n) => [String(n), answer]), null),
        element("p", { className: "pair" }, element("button", { className: "main" }, words.give_answer)));
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        this.#attempt(() => this.#answer(form));
      });
      this.#sure = false;
      this.#say(words.listen_hint);
      this.#show(fill(words.trial, { number: answered + 1, trials: plan.trials, listener: plan.listener }),
        element("p", { dir: "auto" }, this.#question),
        element("div", { role: "group", "aria-label": words.listen, className: "pair" }, ...listen,
          this.#button(words.pause, () => this.#pause())),
        form, this.#volume(), this.#message,
        element("p", { className: "note" }, words.commitment, " ", element("code", {}, commitment)),
        element("p", { className: "pair" }, this.#button(words.give_up, () => this.#giveUp(), { id: "trial-give-up" })));
      listen[0].focus();
    }

    #volume() {
      const { volume } = this.#sound;
      const told = (level) => fill(this.#words.decibels, { level: String(Math.round(level)).replace("-", "\u2212") });
      const shown = element("output", { className: "figure" }, told(volume));
      const field = element("input", { type: "range", min: -60, max: 0, step: 1, value: volume });
      field.addEventListener("input", () => {
        this.#sound.setVolume(Number(field.value));
        shown.value = told(Number(field.value));
      });
      return element("p", { className: "pair" }, labelled(this.#words.volume, field), shown);
    }

    #present(number) {
      this.#attempt(() => {
        this.#trial.present(number);
        this.#sure = false;
        this.#say(this.#words.listen_hint);
      });
      this.#mark();
    }

    #pause() {
      this.#trial.pause();
      this.#mark();
    }

    /* Show what was asked for, and nothing that depends on what is behind it. */
    #mark() {
      const { presentations } = this.#words[this.#trial.plan.protocol];
      this.#box.querySelectorAll(".presentation").forEach((button, n) => {
        const asked = n === this.#trial.heard;
        button.setAttribute("aria-pressed", String(asked));
        button.classList.toggle("main", asked);
        button.textContent = `${asked ? ASKED : ""}${presentations[n]}`;
      });
    }

    #answer(form) {
      const given = chosen(form, "answer");
      this.#trial.answer(given === null ? -1 : Number(given));
      if (this.#trial.over) this.#end();
      else this.#sit();
    }

    #key(event) {
      if (!this.#running || event.ctrlKey || event.altKey || event.metaKey) return;
      if (!/^([123]|Escape)$/.test(event.key)) return;
      event.preventDefault();
      if (event.key === "Escape") this.#giveUp();
      else this.#present(Number(event.key) - 1);
    }

    /* Asked twice, as what was answered would not count. */
    #giveUp() {
      if (this.#sure) {
        this.#trial.giveUp();
        this.#end();
        return;
      }
      this.#sure = true;
      this.#say(this.#words.give_up_sure);
      this.#box.querySelector("#trial-give-up").textContent = this.#words.give_up_again;
    }

    // -- the end

    #end() {
      clearInterval(this.#watch);
      const words = this.#words, { plan, outcome, fingerprint } = this.#trial;
      const told = outcome ? findings(outcome.result, words.findings) : [words.given_up_note];
      if (outcome && plan.difference) told.push(fill(words.difference, { difference: plan.difference }));
      const [verdict, ...rest] = told;
      const witness = outcome ? [element("p", { className: "note" }, words.seed, " ", element("code", {}, outcome.seed))] : [];
      this.#say("");
      this.#show(outcome ? words.outcome : words.given_up,
        element("p", { dir: "auto" }, `${plan.listener}: ${this.#question}`),
        element("p", { className: "lead" }, verdict),
        ...rest.map((sentence) => element("p", {}, sentence)),
        ...witness,
        element("p", { className: "note" }, words.seal, " ", element("code", {}, fingerprint)),
        element("p", { className: "note" }, words.log_note),
        element("p", { className: "pair" },
          this.#button(words.save, () => this.#save(), { className: "main" }),
          this.#button(words.close, () => this.#close())));
      this.#box.querySelector("#trial-head").focus();
    }

    #save() {
      const day = new Date(), two = (number) => String(number).padStart(2, "0");
      const date = [day.getFullYear(), two(day.getMonth() + 1), two(day.getDate())].join("");
      const time = [day.getHours(), day.getMinutes(), day.getSeconds()].map(two).join("");
      const href = URL.createObjectURL(new Blob([this.#trial.log], { type: "application/x-ndjson" }));
      element("a", { href, download: `trial-${date}-${time}.jsonl` }).click();
      setTimeout(() => URL.revokeObjectURL(href), 60000); // ms; long after the browser has taken it
    }

    #close() {
      this.#stays = false;
      this.#box.close();
    }

    /* However the dialog was closed: a session that was going on was given up, and its log is offered. Browsers
     * let nobody keep a dialog open for ever: of several requests to close it they heed one all the same. */
    #closed() {
      if (this.#running) {
        this.#trial.giveUp();
        this.#end();
        this.#stays = true;
      }
      if (this.#stays) {
        this.#stays = false;
        this.#box.showModal();
        return;
      }
      clearInterval(this.#watch);
      this.#away.abort();
      this.#box.remove();
    }
  }

  const openTrial = (sound, data, texts) => { new TrialDialog(sound, data, texts); };

  return { Trial, openTrial };
})();
