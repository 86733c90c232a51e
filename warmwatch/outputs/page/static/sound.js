// Tones, voice and vibration. The tones are made here from the table that the watch sends.

import {T} from "/texts.js";

export class Sound {
  constructor() {
    this.context = null;
    this.table = null;
    this.voiceOn = false;
    this.played = [];       // names of what was let be heard, the newest last
    this.current = null;    // {name, urgency, nodes, timer}
    this.waiting = null;
    this.due = new Map();   // repeats: name -> when next, in ms
    this.onChange = () => {};
  }

  get on() {
    return this.context !== null && this.context.state === "running";
  }

  // Browsers let sound begin only in a tap.
  async unlock() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) return false;
    if (!this.context) {
      this.context = new Context();
      this.context.onstatechange = () => this.onChange();
    }
    await this.context.resume();
    if (this.table) this.cue("seeing", () => "");
    return this.on;
  }

  // A call, an alarm or another program may have taken the sound away.
  wake() {
    if (this.context && !this.on) this.context.resume().catch(() => {});
  }

  async lock() {
    this.stop();
    if (this.context) await this.context.close();
    this.context = null;
  }

  stop() {
    this.waiting = null;
    this.end(this.current);
    this.current = null;
  }

  end(sounding) {
    if (!sounding) return;
    clearTimeout(sounding.timer);
    for (const node of sounding.nodes) {
      try { node.stop(); } catch { /* it had ended */ }
    }
    window.speechSynthesis?.cancel();
  }

  // Lets a tone be heard, then what say() gives; the more urgent cuts the other.
  cue(name, say) {
    const tone = this.table?.tones[name];
    if (!tone || !this.on) return;
    if (this.current && tone.urgency < this.current.urgency) {
      if (!this.waiting || tone.urgency >= this.waiting.tone.urgency) this.waiting = {name, tone, say};
      return;
    }
    this.end(this.current);
    this.sound(name, tone, say);
  }

  sound(name, tone, say) {
    this.played = [...this.played.slice(-19), name];
    document.body.dataset.played = this.played.join(" ");
    const {nodes, length} = this.schedule(tone);
    navigator.vibrate?.(tone.pulses.flatMap(([, on, off]) => [on * 1000, off * 1000 + 30]));
    const timer = setTimeout(() => this.speakThen(say), length * 1000);
    this.current = {name, urgency: tone.urgency, nodes, timer};
  }

  speakThen(say) {
    const text = this.voiceOn ? say() : "";
    if (text && window.speechSynthesis) {
      const words = new SpeechSynthesisUtterance(text);
      words.lang = T.language;
      speechSynthesis.speak(words);
      document.body.dataset.said = text;
    }
    this.current = null;
    const next = this.waiting;
    this.waiting = null;
    if (next) this.sound(next.name, next.tone, next.say);
  }

  schedule(tone) {
    const context = this.context, edge = this.table.edge_s, nodes = [];
    const imag = new Float32Array([0, ...this.table.harmonics]);
    const wave = context.createPeriodicWave(new Float32Array(imag.length), imag);
    const start = context.currentTime + 0.03;
    let when = start;
    for (const [pitch, on, off] of tone.pulses) {
      const oscillator = context.createOscillator(), gain = context.createGain();
      oscillator.setPeriodicWave(wave);
      oscillator.frequency.value = pitch;
      gain.gain.setValueAtTime(0, when);
      gain.gain.linearRampToValueAtTime(0.9, when + edge);
      gain.gain.setValueAtTime(0.9, when + on - edge);
      gain.gain.linearRampToValueAtTime(0, when + on);
      oscillator.connect(gain).connect(context.destination);
      oscillator.start(when);
      oscillator.stop(when + on + 0.02);
      nodes.push(oscillator);
      when += on + off;
    }
    return {nodes, length: when - start + 0.1};
  }

  // Repeats what insists: [{tone, every_s, say}], as long as it stands in the state.
  repeat(list, now) {
    for (const name of [...this.due.keys()]) {
      if (!list.some((each) => each.tone === name)) this.due.delete(name);
    }
    for (const each of list) {
      if (!this.due.has(each.tone)) this.due.set(each.tone, now + each.every_s * 1000);
      if (this.current?.name === each.tone) this.due.set(each.tone, now + each.every_s * 1000);
      else if (!this.current && this.due.get(each.tone) <= now) this.cue(each.tone, () => each.say);
    }
  }
}
