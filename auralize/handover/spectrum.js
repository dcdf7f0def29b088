"use strict";

/** Third octaves of what sounds as bars, of what is laid over them as a line of steps. */
class SpectrumPicture {
  static FLOOR = -90; // dBFS at the foot
  static OCTAVES = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000]; // Hz that are named

  constructor(svg, sound, words) {
    this.svg = svg;
    this.sound = sound;
    this.words = words;
    this.bars = [];
    this.add("text", { x: 190, y: 85, "text-anchor": "middle" }, words.quiet);
  }

  add(tag, attributes, words = "") {
    const element = document.createElementNS(this.svg.namespaceURI, tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.textContent = words;
    return this.svg.appendChild(element);
  }

  y(level) {
    return 10 + (Math.min(Math.max(level, SpectrumPicture.FLOOR), 0) / SpectrumPicture.FLOOR) * 130;
  }

  x(at) {
    return 34 + at * this.wide;
  }

  /** Axes and bars, once it is known which bands there are. */
  begin(bands) {
    this.svg.replaceChildren();
    this.wide = 342 / bands.length;
    for (let level = 0; level >= SpectrumPicture.FLOOR; level -= 30) {
      this.add("path", { class: "grid", d: `M34 ${this.y(level)}h342` });
      this.add("text", { x: 29, y: this.y(level) + 4, "text-anchor": "end" }, String(level).replace("-", "\u2212"));
    }
    this.add("text", { x: 29, y: 165, "text-anchor": "end" }, this.words.dbfs);
    bands.forEach(({ frequency }, at) => {
      const octave = SpectrumPicture.OCTAVES.find((hertz) => Math.abs(frequency / hertz - 1) < 0.05);
      const words = octave >= 1000 ? `${octave / 1000}k` : String(octave);
      if (octave) this.add("text", { x: this.x(at + 0.5), y: 154, "text-anchor": "middle" }, words);
      this.bars.push(this.add("rect", { class: "sounding", x: this.x(at) + 1, width: this.wide - 2 }));
    });
    this.add("text", { x: 376, y: 167, "text-anchor": "end" }, this.words.hertz);
    this.line = this.add("path", { class: "laid-over" });
  }

  draw() {
    const bands = this.sound.spectrum() || [];
    if (!this.bars.length && bands.length) this.begin(bands);
    bands.forEach(({ level }, at) => {
      this.bars[at].setAttribute("y", this.y(level));
      this.bars[at].setAttribute("height", this.y(SpectrumPicture.FLOOR) - this.y(level));
    });
    const over = this.sound.overlaySpectrum() || [];
    const steps = over.map(({ level }, at) => `${at ? "V" : `M${this.x(0)} `}${this.y(level)}H${this.x(at + 1)}`);
    if (this.line) this.line.setAttribute("d", steps.join(""));
  }
}
