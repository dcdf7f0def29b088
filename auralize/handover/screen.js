// The player's controls: what is pressed goes to the sound, what sounds is shown. All words are the page's texts.
"use strict";

(() => {
  const LIVE = 66; // ms from one picture of the spectrum to the next
  const CALM = 500; // the same for whoever asked for little motion
  const MINUS = "\u2212";

  const byId = (id) => document.getElementById(id);
  const inside = (id) => JSON.parse(byId(id).textContent);

  /** A name in words of another direction (Unicode, UAX #9: isolates). */
  const apart = (name) => `\u2068${name}\u2069`;

  function show(id, words) {
    if (byId(id).textContent !== words) byId(id).textContent = words;
  }

  /** Words of the page with what they name put in. */
  function say(words, values) {
    return words.replace(/\{(\w+)\}/g, (found, name) => (name in values ? values[name] : found));
  }

  /** As the library rounds: nothing has no sign. */
  function signed(level, plus) {
    const digits = Math.abs(level).toFixed(2);
    if (Number(digits) === 0) return digits;
    return `${level < 0 ? MINUS : plus}${digits}`;
  }

  function clock(seconds) {
    const tenths = Math.round(seconds * 10);
    const rest = (tenths % 600) / 10;
    return `${Math.floor(tenths / 600)}:${rest < 10 ? "0" : ""}${rest.toFixed(1)}`;
  }

  class Screen {
    constructor(sound, data, texts) {
      this.sound = sound;
      this.data = data;
      this.words = texts.screen;
      this.texts = texts;
      this.loopStart = null;
      this.given = data.offered.makeup;
      this.sound.hear({ choice: 0, signal: "receiving", across: "both" });
      byId("volume").value = this.sound.volume;
      this.fillOverlay();
      this.listen();
      sound.addEventListener("change", () => this.update());
      sound.addEventListener("end", () => this.update());
      this.spectrum = new SpectrumPicture(byId("spectrum"), sound, this.words);
      this.update();
      requestAnimationFrame((now) => this.live(now));
    }

    decibels(level, plus = "+") {
      return say(this.words.decibels, { level: signed(level, plus) });
    }

    /** What is heard in words: "drop over plus of reel". */
    name(heard) {
      const side = heard.signal === "drop" && heard.across !== "both" ? `_${heard.across}` : "";
      const choice = heard.choice === null ? "" : apart(this.data.choices[heard.choice].name);
      return say(this.words[`heard_${heard.signal}${side}`], { choice });
    }

    // --- from the page to the sound ---

    listen() {
      const on = (id, event, act) => byId(id).addEventListener(event, act);
      on("play", "click", () => this.play());
      on("now-play", "click", () => this.play());
      on("seek", "input", () => this.sound.seek(Number(byId("seek").value)));
      on("volume", "input", () => this.sound.setVolume(Number(byId("volume").value)));
      on("loop", "click", () => this.loop());
      on("less", "click", () => this.makeup(-1));
      on("more", "click", () => this.makeup(1));
      on("overlay", "change", () => this.lay());
      on("file", "change", () => this.open(byId("file").files[0]));
      on("back", "click", () => this.back());
      on("trial", "click", () => this.trial());
      on("keys-open", "click", () => byId("keys").showModal());
      on("keys-close", "click", () => byId("keys").close());
      if (this.data.steps) {
        on("step", "input", () => this.sound.step(Number(byId("step").value)));
        on("unstep", "click", () => this.sound.step(null));
      }
      for (const group of ["signal", "across"]) this.onGroup(group, () => this.hear());
      for (const one of document.getElementsByName("choice")) one.addEventListener("click", () => this.hearChoice());
      for (const group of ["match", "drops"]) this.onGroup(group, () => this.setWay());
      document.addEventListener("keydown", (event) => this.key(event));
      this.takeDropped();
    }

    onGroup(group, act) {
      for (const one of document.getElementsByName(group)) one.addEventListener("change", act);
    }

    chosen(group) {
      const found = document.querySelector(`input[name="${group}"]:checked`);
      return found ? found.value : null;
    }

    choose(group, value) {
      for (const one of document.getElementsByName(group)) one.checked = one.value === String(value);
    }

    /** Go on to the next option of a group, from the last to the first. */
    next(group, act) {
      const all = [...document.getElementsByName(group)];
      const at = all.findIndex((one) => one.checked);
      if (all.length) all[(at + 1) % all.length].checked = true;
      act();
    }

    play() {
      if (this.sound.playing) this.sound.pause();
      else this.trying(() => this.sound.play());
    }

    hear() {
      const signal = this.chosen("signal");
      const choice = signal === "source" ? null : Number(this.chosen("choice"));
      let across = signal === "drop" ? this.chosen("across") || "both" : "both";
      if (signal === "drop" && !this.isThere(choice, across)) this.choose("across", (across = "both"));
      this.sound.hear({ choice, signal, across });
      this.tell();
    }

    across() {
      if (this.sound.heard.signal === "drop") this.next("across", () => this.hear());
      else this.decline(this.words.across_of_drop);
    }

    /** Not of every choice the drop along one conductor can be told: a transformer parts them. */
    isThere(choice, across) {
      return this.data.signals.some((one) => one.signal === "drop" && one.choice === choice && one.across === across);
    }

    /** A choice is heard as soon as it is picked, also from the source, which is the same for all. */
    hearChoice() {
      if (this.chosen("signal") === "source") this.choose("signal", "receiving");
      this.hear();
    }

    setWay() {
      const [match, drops] = [this.data.ways.match[this.chosen("match")], this.chosen("drops")];
      this.sound.setWay({ match, drops, makeup: drops === "one" ? this.given : null });
      this.tell();
    }

    /** The one make-up gain of all drops, from what it is now. */
    makeup(by) {
      if (this.chosen("drops") === "equal") this.decline(this.words.each_its_own);
      else if (this.sound.heard.signal !== "drop") this.decline(this.words.makeup_of_drop);
      else if (this.sound.certain === false) this.decline(this.words.makeup_unknown);
      else this.setMakeup(by);
    }

    setMakeup(by) {
      this.given = Math.round(this.sound.gains(this.drop()).makeup) + by;
      this.setWay();
    }

    /** The drop that is heard, or would be. */
    drop() {
      const { heard } = this.sound;
      return heard.signal === "drop" ? heard : { choice: Number(this.chosen("choice")), signal: "drop", across: "both" };
    }

    /** One button, as the one key: the start, then the end, then none. */
    loop() {
      const at = this.sound.position;
      if (this.sound.looped) this.sound.unloop();
      else if (this.loopStart === null) this.loopStart = at;
      else {
        const [from, to] = [Math.min(at, this.loopStart), Math.max(at, this.loopStart)];
        this.loopStart = null;
        this.trying(() => this.sound.loop(from, to));
      }
      this.update();
    }

    fillOverlay() {
      const source = [{ choice: null, signal: "source", across: "both" }];
      this.overlays = [...source, ...this.data.signals].map(({ choice, signal, across }) => ({ choice, signal, across }));
      this.overlays.forEach((heard, at) => byId("overlay").append(new Option(this.name(heard), at)));
    }

    lay() {
      const at = byId("overlay").value;
      this.sound.overlay(at === "" ? null : this.overlays[Number(at)]);
    }

    trial() {
      openTrial(this.sound, this.data, this.texts.trial);
    }

    // --- music of one's own ---

    takeDropped() {
      const aim = (aimed) => document.body.classList.toggle("aimed", aimed);
      document.addEventListener("dragover", (event) => { event.preventDefault(); aim(true); });
      document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) aim(false); });
      document.addEventListener("drop", (event) => {
        event.preventDefault();
        aim(false);
        this.open(event.dataTransfer.files[0]);
      });
    }

    async open(file) {
      if (!file) return;
      const told = (share) => show("opening", say(this.words.opening, { name: apart(file.name), share: Math.round(100 * share) }));
      this.complain("");
      told(0);
      try {
        const done = await this.sound.open(file.name, await file.arrayBuffer(), told);
        if (done) this.announce(say(this.words.opened, { name: apart(file.name) }));
        show("opening", "");
      } catch (error) {
        show("opening", "");
        this.complain(say(this.words.refused, { name: apart(file.name), why: error.message }));
        byId("trouble").scrollIntoView({ block: "center" }); // the button for it is far below
      }
      byId("file").value = "";
      this.update();
    }

    back() {
      this.sound.back();
      show("opening", "");
      byId("file").focus();
      this.update();
    }

    announce(words) {
      clearTimeout(this.telling);
      show("said", words);
    }

    /** What a key cannot do here is told to ears and eyes, until something is heard otherwise. */
    decline(words) {
      this.announce(words);
      show("now-why", words);
    }

    /** What the sound refuses is said. */
    trying(act) {
      this.complain("");
      try {
        act();
      } catch (error) {
        this.complain(error.message);
      }
    }

    complain(words) {
      show("trouble", words);
      byId("trouble").hidden = !words;
    }

    // --- from the sound to the page ---

    update() {
      const { sound, words } = this;
      const gains = sound.gains(sound.heard);
      for (const name of ["match", "makeup", "headroom", "total"]) show(`gain-${name}`, this.decibels(gains[name]));
      show("now-heard", this.name(sound.heard));
      show("now-gain", say(words.gain, { gain: this.decibels(gains.total) }));
      for (const id of ["play", "now-play"]) show(id, sound.playing ? words.pause : words.play);
      show("uncertain", sound.certain === false ? words.uncertain : "");
      const folded = sound.foldedFrom ? say(words.folded, { channels: sound.foldedFrom }) : "";
      show("programme", say(sound.inside ? words.programme : words.own, { name: apart(sound.name), folded }));
      byId("back").hidden = sound.inside;
      document.body.dataset.heard = sound.heard.signal;
      this.showLevels();
      this.showLoop();
    }

    showLevels() {
      const { sound } = this;
      show("makeup", this.decibels(sound.gains(this.drop()).makeup));
      show("volume-words", say(this.words.decibels, { level: signed(sound.volume, "").replace(".00", "") }));
      byId("volume").setAttribute("aria-valuetext", byId("volume-words").textContent);
      if (!this.data.steps) return;
      const { at, facts } = this.data.steps;
      const step = sound.steps === null ? this.words.as_it_is : at[sound.steps];
      show("step-words", step);
      show("step-facts", sound.steps === null ? "" : `${facts[sound.steps][Number(this.chosen("choice"))]}.`);
      byId("step").setAttribute("aria-valuetext", step);
      byId("unstep").disabled = sound.steps === null;
      byId("step").value = sound.steps ?? this.data.steps.start;
    }

    showLoop() {
      const { sound, words } = this;
      const looped = sound.looped;
      const button = looped ? words.loop_off : this.loopStart === null ? words.loop_start : words.loop_end;
      show("loop", button);
      const [from, to] = looped || [this.loopStart, null];
      const told = looped ? words.looped : words.loop_from;
      show("looped", from === null ? "" : say(told, { from: clock(from), to: to === null ? "" : clock(to) }));
      const region = byId("region");
      region.hidden = !looped;
      if (!looped) return;
      region.style.left = `${(100 * from) / sound.seconds}%`;
      region.style.width = `${(100 * (to - from)) / sound.seconds}%`;
    }

    /** For whoever listens to the screen: once for a change that was asked for, not for each in a row. */
    tell() {
      show("now-why", "");
      clearTimeout(this.telling);
      this.telling = setTimeout(() => {
        const { heard } = this.sound;
        const gain = this.decibels(this.sound.gains(heard).total);
        this.announce(say(this.words.said, { heard: this.name(heard), gain }));
      }, 400);
    }

    /** Not while a dialog is open: what a trial plays is not to be seen behind it. */
    live(now) {
      const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
      if (now - (this.drawn || 0) >= (calm ? CALM : LIVE) && !document.querySelector("dialog[open]")) {
        this.drawn = now;
        this.showPosition();
        this.spectrum.draw();
      }
      requestAnimationFrame((later) => this.live(later));
    }

    showPosition() {
      const { sound } = this;
      const seek = byId("seek");
      const words = say(this.words.time, { at: clock(sound.position), whole: clock(sound.seconds) });
      seek.max = sound.seconds;
      seek.value = sound.position;
      show("time", words);
      seek.setAttribute("aria-valuetext", words);
    }

    // --- keys ---

    key(event) {
      if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
      if (!byId("single").checked || document.querySelector("dialog[open]")) return;
      if (takesKey(event.target, event.key)) return;
      const act = this.actions()[event.key] || this.byNumber(event.key);
      if (!act) return;
      event.preventDefault();
      act();
    }

    byNumber(key) {
      const choice = /^[1-9]$/.test(key) ? Number(key) - 1 : this.data.choices.length;
      if (choice >= this.data.choices.length) return null;
      return () => {
        this.choose("choice", choice);
        this.hearChoice();
      };
    }

    actions() {
      const { sound } = this;
      const hear = (signal) => () => {
        this.choose("signal", signal);
        this.hear();
      };
      const move = (by) => () => sound.seek(Math.min(Math.max(sound.position + by, 0), sound.seconds));
      return {
        " ": () => this.play(), s: hear("source"), r: hear("receiving"), d: hear("drop"),
        c: () => this.across(),
        m: () => this.next("match", () => this.setWay()), g: () => this.next("drops", () => this.setWay()),
        "+": () => this.makeup(1), "-": () => this.makeup(-1), l: () => this.loop(), b: () => this.trial(),
        ArrowLeft: move(-5), ArrowRight: move(5), ",": move(-0.1), ".": move(0.1), "?": () => byId("keys").showModal(),
      };
    }
  }

  /** Whether what has the focus needs a key itself. */
  function takesKey(target, key) {
    if (target.matches("select, textarea, input:not([type=radio], [type=range], [type=checkbox], [type=file])")) return true;
    if (target.matches("button, summary, a, input[type=file], input[type=checkbox]")) return key === " " || key === "Enter";
    return target.matches("input[type=radio], input[type=range]") && key.startsWith("Arrow");
  }

  /** Have it play; what hinders that is said where the player would be. */
  async function start() {
    try {
      const [data, texts] = [inside("data"), inside("texts")];
      const sound = new Sound(data, (key, values) => say(texts.sound[key], values));
      window.bench.sound = sound;
      await sound.load();
      new Screen(sound, data, texts);
      byId("player").hidden = byId("now").hidden = false;
      byId("coming").hidden = true;
    } catch (error) {
      byId("coming").hidden = true;
      show("trouble", say(byId("coming").dataset.failed, { why: error.message }));
      byId("trouble").hidden = false;
      throw error;
    }
  }

  document.addEventListener("DOMContentLoaded", () => {
    window.bench = {};
    window.bench.ready = start();
    window.bench.ready.catch(() => {}); // it was said
  });
})();
