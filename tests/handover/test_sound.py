"""What the page plays, as both browsers render it: against the renderer, sample by sample."""

import base64
import hashlib
import io

import numpy as np
import pytest
import soundfile
from scipy.signal import lfilter
from scipy.signal.windows import blackman

from auralize import load_rig, render
from auralize.commands.main import main
from auralize.filters.fir import Fir
from auralize.units import amplitude, decibels
from support.browsers import needs_sound
from support.command import RIG
from support.sound_pages import (
    TEXT_OF_SAMPLES,
    floats,
    level,
    on_grid,
    page_data,
    rendered,
    samples_of,
    write_page,
)
from support.trial_rigs import CAUSAL

LONG, SHORT = CAUSAL["300 m of 0.5 mm2, low driver"], CAUSAL["62 m of 2.5 mm2, driver"]
pytestmark = pytest.mark.usefixtures("in_time")
CORRODED = RIG.replace(
    'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"',
    'construction = "twin"\nconductor = "0.75 mm2"\ninsulation = "1 mm"\n',
).replace("[runs.path]\n", '[runs.path]\nfar = { plus = "0.3 ohm" }\n')
"""The drop of the thin one differs along plus and minus; that of the other cannot be told apart."""
WITHIN = -120.0
"""dB re the highest sample: what a hand-over promises. Single precision with headroom: about -135 dB."""


def noise(rate, seconds=1.0, channels=2, seed=14):
    """Pink by a running sum that forgets, so that low and high both count."""
    white = np.random.default_rng(seed).normal(0.0, 0.02, (round(rate * seconds), channels))
    return on_grid(0.5 * white + lfilter([1.0], [1.0, -0.98], white, axis=0) / 3)


def off(got, wanted):
    """dB of the largest difference, re the highest of what is wanted."""
    return decibels(float(np.abs(got - wanted).max() / np.abs(wanted).max()))


RENDERED = [("chromium", 44_100), ("chromium", 48_000), ("chromium", 96_000), ("firefox", 96_000)]
"""Firefox resamples nothing either: one rate shows that its graph is the same."""


@pytest.fixture(scope="module")
def handed_over(rate, tmp_path_factory):
    """Rate, source, rig and the page that was made of them."""
    folder = tmp_path_factory.mktemp("mill")
    rig, source = folder / "sluice.toml", folder / "bells.wav"
    rig.write_text(CORRODED, encoding="utf-8")
    soundfile.write(source, noise(rate), rate, "PCM_24")
    assert main(["handover", str(rig), str(source), "--into", str(folder / "show")]) == 0
    return rate, noise(rate), load_rig(rig), folder / "show" / "page.html"


@pytest.mark.parametrize(("browser", "rate"), RENDERED, indirect=["browser"], scope="module")
def test_the_page_renders_what_the_renderer_does(browser, handed_over):
    """In double precision, at the gains that the page says: every choice and signal."""
    rate, programme, rig, path = handed_over
    page = browser.open(path)
    rows, texts = page.run(
        TEXT_OF_SAMPLES
        + """await bench.ready;
        bench.sound.setWay({match: "loudness"});
        const made = [];
        for (const row of bench.sound.levels) made.push(asText(channelsOf(await bench.sound.offline(row))));
        return [bench.sound.levels, made];"""
    )
    assert len(rows) == 1 + (1 + 3) + (1 + 1)
    for row, text in zip(rows, texts, strict=True):
        wet = programme
        if row["choice"] is not None:
            choice = list(rig.choices.values())[row["choice"]]
            wet = render(programme, rate, choice, row["signal"], across=row["across"])
        assert off(samples_of(text, 2), wet * amplitude(row["total"])) < WITHIN, row
    assert (page.console, page.requests) == ([], [])


SWITCHES = """
await bench.ready;
const {rate, delay} = args[0];
const rows = Sound.rowsOf(JSON.parse(document.getElementById("data").textContent));
const heard = await new OfflineAudioContext(1, 1, rate).decodeAudioData(asBytes(args[0].data));
const context = new OfflineAudioContext(2, heard.length + delay, rate);
const graph = new Sound.Graph(context, 2, rows.map(({response}) => response));
graph.mix.connect(context.destination);
let from = null;
args[0].order.forEach((place, n) => {
  const branch = graph.branch(place);
  if (n === 0) branch.fade.gain.value = 1;
  else graph.crossFade(Sound.secondsOf(n * args[0].every, rate), from, branch);
  from = branch;
});
graph.source(heard).start();
const made = channelsOf(await context.startRendering());
return asText(made.map((samples) => samples.subarray(delay)));
"""


def test_fifty_switches_stay_in_step_to_the_sample(browser, tmp_path):
    """What was rendered lies between the signals switched, at every sample; and on them between fades."""
    rate, every, switches = 48_000, 1_600, 50
    programme = noise(rate, (switches + 1) * every / rate)
    made = rendered(programme, rate, LONG)
    data = page_data(programme, rate, [made])
    signals = [programme, *(wet for _, wet in made.values())]
    order = [int(n) for n in np.cumsum(np.random.default_rng(2).integers(1, len(signals), 51))]
    order = [n % len(signals) for n in order]
    given = {"rate": rate, "delay": data["delay"], "every": every, "order": order}
    page = browser.open(write_page(tmp_path / "page.html", data))
    got = samples_of(page.run(SWITCHES, given | {"data": data["programme"]["data"]}), 2)
    fade = round(0.015 * rate)
    rise = np.clip(
        (np.arange(every) + data["delay"]) / fade, 0.0, 1.0
    )  # heard earlier by the delay
    for n, place in enumerate(order):
        at = slice(n * every, (n + 1) * every - data["delay"])
        was = signals[order[max(0, n - 1)]][at]
        share = (1.0 - np.cos(np.pi * rise[: len(was)])) / 2.0
        wanted = was + (signals[place][at] - was) * share[:, None]
        settled = share == 1.0
        assert off(got[at][settled], wanted[settled]) < WITHIN
        assert (
            np.abs(got[at] - wanted).max() < 2e-3 * np.abs(signals[0]).max()
        )  # a curve of 65 points
    assert page.console == []


def stairs(rate, seconds):
    """A programme that says in every sample where it is: 2^-21 for each frame."""
    return (np.arange(round(rate * seconds)) / 2.0**21)[:, None]


def straight(delay, rate, gain=1.0):
    """A response that only delays, but for a gain."""
    taps = np.zeros(400)
    taps[delay] = gain
    return Fir(taps=taps, rate=rate, delay=delay, error=-300.0)


PLAYED = """
await bench.ready;
sound.setVolume(0);
// What goes to the device is looked at on its way, a window of the last samples at a time.
let analyser = null;
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to === this.context.destination && this.context instanceof AudioContext) {
    analyser = new AnalyserNode(this.context, {fftSize: 32768});
    connect.call(this, analyser);
  }
  return connect.call(this, to, ...rest);
};
// Until so many seconds have sounded: a busy machine begins late.
const sounded = async (seconds) => {
  for (let at = sound.frame, all = 0; all < seconds * sound.rate; at = sound.frame) {
    await sleep(0.02);
    all += Math.max(0, sound.frame - at);
  }
};
const look = () => {
  const got = new Float32Array(32768);
  analyser.getFloatTimeDomainData(got);
  return [got, sound.frame];
};
"""
FIFTY = """
sound.play();
await sounded(1.6);
const looks = [];
for (let n = 0; n < 50; n += 1) {
  sound.hear(n % 2 ? {choice: 0, signal: "receiving"} : {choice: null, signal: "source"});
  await sleep(0.06); // a look goes back over eleven of them
  if (n % 5 === 4) looks.push(look());
}
await sounded(0.1);
const settled = sound.settled;
sound.pause();
const held = sound.frame;
await sleep(0.15);
const [seen, places] = [0, 1].map((n) => looks.map((one) => one[n]));
return [asText(seen), places, held, sound.frame, sound.playing, settled];
"""
LOOPED = """
sound.seek(3);
sound.play();
await sounded(0.8);
const asked = sound.position;
sound.loop(asked - 0.3, asked + 0.1);
await sounded(1.3);
const looped = look();
const region = sound.looped.map((at) => Math.round(at * sound.rate));
sound.unloop();
await sounded(0.8);
const free = look();
sound.loop(1, 2);
await sounded(0.2);
const jumped = sound.frame;
sound.unloop();
sound.seek(7.8);
await new Promise((resolve) => sound.addEventListener("end", resolve, {once: true}));
const end = [sound.playing, sound.position];
sound.play();
await sounded(0.1);
const again = sound.position;
sound.pause();
return [asText([looped[0], free[0]]), region, jumped, end, again];
"""
STOPPED = """
sound.seek(2);
sound.play();
await sounded(0.5);
const context = analyser.context;
await context.suspend();
await sleep(0.3);
await sounded(0.1); // it went on by itself
const awake = [context.state, sound.playing, sound.position];
await context.close();
await sleep(0.1);
const lost = [sound.playing, sound.position];
await sleep(0.1);
const kept = sound.position;
sound.play();
await sounded(0.2);
const back = sound.position;
sound.pause();
return [awake, lost, kept, back];
"""
TRIES = 3
"""A machine that is busy for longer than the page schedules ahead comes late once, but not each time."""
FRESH = 1.3
"""s from the start on, after which the first, soft start is over to the last step of single precision."""


def stairs_page(browser, path, rate=48_000, delay=256):
    """A page of 8 s whose every sample says where it is; source and receiving end are the same."""
    needs_sound(browser)
    programme = stairs(rate, 8.0)
    fir = straight(delay, rate)
    data = page_data(programme, rate, [{("receiving", "both"): (fir, programme)}])
    return browser.open(write_page(path / "page.html", data))


def test_players_start_and_keep_their_place_over_fifty_switches(browser, tmp_path):
    """Every sample of the programme says which one it is: read back from what goes out of the page."""
    for _ in range(TRIES):
        page = stairs_page(browser, tmp_path)
        text, places, held, later, playing, settled = page.run(PLAYED + FIFTY)
        seen = samples_of(text, len(places)).T * 2.0**21
        steps = [np.diff(column[column > FRESH * 48_000]) for column in seen]
        worst = max(np.abs(step - 1.0).max() for step in steps)
        if worst < 0.5:
            break
    assert worst < 0.5  # no sample twice, none left out
    away = np.abs(
        np.array(places) - 1.0 - seen[:, -1]
    )  # the clock may go on while we look: the least counts
    assert max(away[:5].min(), away[5:].min()) < 1.0  # sample
    assert (held, playing, settled) == (later, False, True)
    assert (page.console, page.requests) == ([], [])


def test_loops_and_jumps_are_where_they_were_asked_for(browser, tmp_path):
    page = stairs_page(browser, tmp_path)
    text, (first, last), jumped, end, again = page.run(PLAYED + LOOPED)
    looped, free = np.round(samples_of(text, 2).T * 2.0**21)
    steps = np.diff(looped[-22_000:])
    assert set(steps) == {1.0, first - last + 1.0}  # seamless, and back by the region but for one
    assert looped[-22_000:].min() == first
    assert looped[-22_000:].max() == last - 1
    assert set(np.diff(free[-22_000:])) == {1.0}
    assert free[-1] > last
    assert 48_000 <= jumped < 96_000
    assert end == [False, 8.0]
    assert 0.0 <= again < 1.0
    assert page.console == []


def test_a_context_that_stops_or_goes_away_does_not_lose_the_place(chromium, tmp_path):
    """As phones do to a page that is not looked at, or a device that is unplugged."""
    page = stairs_page(chromium, tmp_path)
    (state, playing, went_on), (silent, at), kept, back = page.run(PLAYED + STOPPED)
    assert (state, playing, silent) == ("running", True, False)
    assert 2.5 < went_on <= at == kept < back < at + 2.0
    assert page.console == []


SMOOTH = """
const [source, half] = [{choice: null, signal: "source"}, {choice: 0, signal: "receiving"}];
const acts = [
  () => sound.hear(half), () => sound.hear(source), () => sound.seek(5.0013), () => sound.pause(),
  () => sound.play(), () => sound.loop(4, 7), () => sound.seek(4.5), () => sound.unloop(),
  () => sound.hear(half), () => sound.setWay({match: "loudness"}), () => sound.setVolume(-20),
  () => sound.pause(),
];
sound.play();
await sounded(0.3);
const seen = [];
for (const act of acts) {
  act();
  await sleep(0.25);
  seen.push(look()[0]); // the last 0.68 s
}
return asText(seen);
"""


def test_nothing_that_is_asked_for_clicks(browser, tmp_path):
    """A low tone bends by no more than a five-hundredth of its peak in a sample; a cut would be all of it."""
    rate, high = 48_000, 0.5
    needs_sound(browser)
    tone = on_grid(high * np.sin(2 * np.pi * 100.0 * np.arange(8 * rate) / rate))[:, None]
    made = {("receiving", "both"): (straight(256, rate, 0.5), 0.5 * tone)}
    path = write_page(tmp_path / "page.html", page_data(tone, rate, [made]))
    for _ in range(TRIES):
        page = browser.open(path)
        seen = samples_of(page.run(PLAYED + SMOOTH), 12)
        assert np.abs(seen).max() == pytest.approx(high, rel=0.01)
        sharpest = np.abs(np.diff(seen, 2, axis=0)).max()
        if sharpest < high / 500:
            break
    assert sharpest < high / 500
    softer = np.abs(seen[-4800:, 10]).max()  # after the volume went to -20 dB, before the pause
    assert softer == pytest.approx(0.1 * high, rel=0.3)  # the match is on its way up
    assert page.console == []


RISEN = """
const [source, drop] = [{choice: null, signal: "source"}, {choice: 0, signal: "drop"}];
const slow = [], turned = AudioParam.prototype.setTargetAtTime;
AudioParam.prototype.setTargetAtTime = function (...to) { slow.push(to); return turned.apply(this, to); };
sound.setVolume(-40);
sound.setWay({makeup: 0});
sound.hear(drop);
sound.play();
const opens = Math.max(...slow.map((to) => to[2]));
await sounded(0.3);
sound.hear(source);
const at_once = sound.settled;
for (let n = 0; !(sound.settled || n > 100); n += 1) await sleep(0.01);
const power = () => {
  const got = look()[0].subarray(-4800);
  return 10 * Math.log10(got.reduce((sum, value) => sum + value * value, 0) / got.length);
};
await sounded(0.15);
const soon = power();
await sounded(2.5);
const later = power();
sound.setWay({makeup: 20});
sound.overlay(drop);
await sounded(0.8);
const over = sound.overlaySpectrum()[17].level - sound.spectrum()[17].level;
sound.freeze([source, {choice: 0, signal: "receiving"}]);
const told = [sound.spectrum(), sound.overlaySpectrum()];
sound.thaw();
sound.hear(drop);
for (let n = 0; !(sound.settled || n > 100); n += 1) await sleep(0.01);
const before = sound.gains(drop).total;
slow.length = 0;
sound.setWay({makeup: 32});
const dB = sound.gains(drop).total, step = [dB - before, slow, dB];
sound.pause();
return {opens, at_once, rise: soon - later, later, over, told, step};
"""


def test_what_is_much_louder_comes_up_slowly_and_a_trial_shows_nothing(chromium, tmp_path):
    """From a drop of -27 dB to the source: no more than 6 dB at once, the rest within seconds."""
    rate = 48_000
    programme = noise(rate, 6.0)
    made = rendered(programme, rate, SHORT)
    page = chromium.open(write_page(tmp_path / "page.html", page_data(programme, rate, [made])))
    got = page.run(PLAYED + RISEN)
    assert -20.0 < got["rise"] < -3.0
    assert (got["opens"], got["at_once"]) == (0.1, False)
    power = 10 * np.log10(np.square(programme.mean(axis=1)).mean())
    assert got["later"] == pytest.approx(power - 40.0, abs=8.0)  # of a tenth of a second of noise
    kept = float(np.abs(made["drop", "both"][0].response(np.array([1_000.0])))[0])
    assert got["over"] == pytest.approx(decibels(kept) + 20.0, abs=1.0)  # laid over it at its gain
    assert got["told"] == [[], []]
    louder, ((at_first, begins, turns), (at_last, goes_on, rises)), dB = got["step"]
    assert louder > 6.0
    assert decibels(at_first) == pytest.approx(dB - louder + 6.0, abs=1e-3)
    assert decibels(at_last) == pytest.approx(dB, abs=1e-3)
    assert (turns, rises) == (0.02, 0.5)
    assert goes_on - begins == pytest.approx(0.08, abs=1e-6)
    assert page.console == []


def test_two_that_are_frozen_are_equally_loud(chromium, tmp_path):
    rate = 48_000
    programme = noise(rate, 2.0)
    choices = [rendered(programme, rate, network) for network in (LONG, SHORT)]
    page = chromium.open(write_page(tmp_path / "page.html", page_data(programme, rate, choices)))
    gains = page.run(
        """await bench.ready;
        return sound.freeze([0, 1].map((choice) => ({choice, signal: "drop", across: "both"})));"""
    )
    heard = [made["drop", "both"][1] * amplitude(g) for made, g in zip(choices, gains, strict=True)]
    levels = [level(wet, rate, "drop") for wet in heard]
    assert levels[0]["loudness"] == pytest.approx(levels[1]["loudness"], abs=1e-6)
    assert max(one["peak"] for one in levels) <= amplitude(-1.0)


SPECTRUM = """
const samples = new Float32Array(asBytes(args[1]));
const buffer = new AudioBuffer({length: samples.length / 2, numberOfChannels: 2, sampleRate: args[0]});
[0, 1].forEach((n) => buffer.copyToChannel(samples.subarray(n * buffer.length, (n + 1) * buffer.length), n));
const context = new OfflineAudioContext(2, buffer.length, args[0]);
const node = new AudioBufferSourceNode(context, {buffer});
node.connect(context.destination);
const spectrum = new Sound.Spectrum(context, 2, node);
node.start();
await context.startRendering();
return spectrum.bands();
"""


@pytest.mark.parametrize(
    ("browser", "rate"), [("chromium", 96_000), ("firefox", 44_100)], indirect=["browser"]
)
def test_third_octaves_tell_the_level_of_tones_and_of_pink_noise(browser, tmp_path, rate):
    """A tone: its mean square by definition; pink noise: bands of our own transform of the last frames."""
    data = page_data(
        stairs(rate, 0.5), rate, [{("receiving", "both"): (straight(9, rate), stairs(rate, 0.5))}]
    )
    page = browser.open(write_page(tmp_path / "page.html", data))
    time = np.arange(rate) / rate
    for frequency, place in [(50.0, 4), (1_000.0, 17), (1_090.0, 17), (10_000.0, 27)]:
        tone = 0.1 * np.sin(2 * np.pi * frequency * time)
        bands = page.run(SPECTRUM, rate, floats(np.concatenate([tone, tone])))
        assert bands[place]["level"] == pytest.approx(decibels(0.1) - 3.01, abs=0.5)
        assert max(bands, key=lambda band: band["level"] or -np.inf) == bands[place]
    pink = noise(rate, 1.0)
    bands = page.run(SPECTRUM, rate, floats(pink.T.ravel()))
    for place, frames in [(10, 32_768), (14, 8_192), (20, 8_192), (25, 8_192)]:
        middle = 1000.0 * 10.0 ** ((place - 17) / 10)
        window = blackman(frames, sym=False)
        power = np.abs(np.fft.rfft(pink[-frames:] * window[:, None], axis=0)) ** 2
        power = 2.0 * power.mean(axis=1) / (frames * (window**2).sum())
        at = np.fft.rfftfreq(frames, 1.0 / rate)
        inside = (at > middle / 10**0.05) & (at < middle * 10**0.05)
        assert bands[place]["level"] == pytest.approx(10 * np.log10(power[inside].sum()), abs=0.5)


OPENED = """
await bench.ready;
sound.setWay({match: "loudness", drops: "equal"});
sound.loop(0.1, 0.4);
const shares = [], certain = [];
sound.addEventListener("change", () => certain.push(sound.certain));
const done = await sound.open(args[0], asBytes(args[1]), (share) => shares.push(share));
return {done, shares, certain, levels: sound.levels, name: sound.name, inside: sound.inside,
  seconds: sound.seconds, foldedFrom: sound.foldedFrom, looped: sound.looped, sha256: sound.sha256};
"""
REFUSED = """
await bench.ready;
return sound.open(args[0], asBytes(args[1])).then(() => null, (error) => [error.message, error.key]);
"""


def wav(samples, rate):
    file = io.BytesIO()
    soundfile.write(file, samples, rate, "FLOAT", format="WAV")
    return base64.b64encode(file.getvalue()).decode()


def test_another_programme_is_measured_in_the_page(browser, tmp_path):
    rate = 48_000
    made = rendered(noise(rate), rate, LONG)
    page = browser.open(write_page(tmp_path / "page.html", page_data(noise(rate), rate, [made])))
    # So soft that its drops along one conductor are heard after a gain alone, as drops are gated.
    other = np.float64(np.float32(0.01 * noise(rate, 1.5, seed=3)))
    file = wav(other, rate)
    got = page.run(OPENED, "lawn.wav", file)
    assert (got["done"], got["name"], got["inside"], got["seconds"]) == (
        True,
        "lawn.wav",
        False,
        1.5,
    )
    assert got["sha256"] == hashlib.sha256(base64.b64decode(file)).hexdigest()
    assert got["looped"] is None
    assert got["certain"][0] is False
    assert got["certain"][-1] is True
    assert got["shares"] == sorted(got["shares"])
    assert got["shares"][-1] == 1.0
    heard = [other, *(wet for _, wet in rendered(other, rate, LONG).values())]
    for row, wet in zip(got["levels"], heard, strict=True):
        measured = level(wet, rate, row["signal"])
        found = -np.inf if row["loudness"] is None else row["loudness"]  # JSON has no infinity
        wanted = -np.inf if measured["loudness"] is None else measured["loudness"]
        assert found == pytest.approx(wanted, abs=1e-3)
        assert row["peak"] == pytest.approx(measured["peak"], rel=1e-4)
    assert page.run("sound.back(); return [sound.name, sound.certain]") == ["bells.wav", True]
    assert page.console == []


def test_what_cannot_be_taken_is_refused_and_surround_is_folded(browser, tmp_path):
    rate = 48_000
    made = rendered(noise(rate), rate, SHORT)
    page = browser.open(write_page(tmp_path / "page.html", page_data(noise(rate), rate, [made])))
    nothing = base64.b64encode(b"no sound at all").decode()
    assert page.run(REFUSED, "words.txt", nothing) == ["undecodable", "undecodable"]
    three = wav(noise(rate, channels=3), rate)
    assert page.run(REFUSED, "three.wav", three) == ["too-many-channels", "too-many-channels"]
    odd = page.run(
        """const keys = [], note = (error) => keys.push(error.key), [, bytes] = args;
        try { sound.loop(0.1, 0.15); } catch (error) { note(error); }
        const decode = OfflineAudioContext.prototype.decodeAudioData;
        OfflineAudioContext.prototype.decodeAudioData = async () => ({length: 9, duration: 901});
        await sound.open("long.wav", asBytes(bytes)).catch(note);
        OfflineAudioContext.prototype.decodeAudioData = decode;
        const early = sound.open("early.wav", asBytes(bytes));
        sound.back();
        const found = [await early, sound.name], late = sound.open("late.wav", asBytes(bytes));
        await new Promise((taken) => sound.addEventListener("change", taken, {once: true}));
        sound.back();
        found.push(await late, sound.name);
        const kept = sound.open("kept.wav", asBytes(bytes));
        await sound.open("words.txt", new ArrayBuffer(9)).catch(note);
        return [keys, ...found, await kept, sound.name];""",
        0,
        wav(noise(rate), rate),
    )
    keys = ["loop-too-short", "too-long", "undecodable"]
    assert odd == [keys, False, "bells.wav", False, "bells.wav", True, "kept.wav"]
    got = page.run(OPENED, "six.wav", wav(0.1 * noise(rate, channels=6), rate))
    assert (got["done"], got["foldedFrom"]) == (True, 6)


def test_a_step_of_the_slider_has_its_own_signals_and_one_headroom(chromium, tmp_path):
    rate = 48_000
    programme = noise(rate)
    choices = [rendered(programme, rate, SHORT)]
    steps = [[rendered(programme, rate, network)] for network in (SHORT, LONG)]
    data = page_data(programme, rate, choices, steps)
    page = chromium.open(write_page(tmp_path / "page.html", data))
    heard = {"choice": 0, "signal": "receiving"}
    for at in (0, 1):
        text, gains = page.run(
            """await bench.ready; sound.step(args[0]); sound.hear(args[1]);
            return [asText(channelsOf(await sound.offline(args[1]))), sound.gains(args[1])];""",
            at,
            heard,
        )
        wet = steps[at][0]["receiving", "both"][1]
        assert off(samples_of(text, 2), wet * amplitude(gains["total"])) < WITHIN
        assert gains["headroom"] == page.run("return sound.gains({signal: 'source'}).headroom")
