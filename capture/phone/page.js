// The phone's side of a reading: opens the camera, measures each frame here, and sends the numbers.
// Nothing but numbers is sent, and only to the computer that served this page.

const WIDE = 128, HIGH = 96;
const BATCH = 60, IN_FLIGHT = 4, EVERY_MS = 250;
const MOST_UNSENT = 40000;  // ten minutes at 60 a second
const SILENT_MS = 5000, AGAIN_MS = 1000, TRY_MS = 4000;
const GIVE_UP_MS = 120000;  // a lamp must not shine for a computer that is gone
const GOOD_COVER = 0.8;

// ---- Measuring: the same judgement as on the computer, whose numbers come with the page.

export class Gauge {
  // skin: the numbers of the judgement. measure() takes RGBA bytes of WIDE x HIGH pixels and the time in seconds.
  constructor(skin) {
    this.skin = skin;
    this.patches = skin.rows * skin.columns;
    this.weights = null;
    this.anyFinger = false;
    this.heldBack = [0, 0, 0];
    this.lastMean = null;
    this.lastS = 0;
  }

  measure(pixels, timeS) {
    const s = this.skin, n = this.patches;
    const {mean, detail, clipped, pixelsInCell} = this.cut(pixels);
    const grain = Math.min(s.grain_most, Math.max(s.grain_least, s.grain / Math.sqrt(pixelsInCell)));
    const mask = this.finger(mean, detail, grain);
    let covered = 0;
    for (let i = 0; i < n; i++) covered += mask[i];
    const colour = this.colour(timeS, mean, mask, covered);
    return {colour, covered: covered / n, clipped};
  }

  cut(pixels) {
    const s = this.skin, cellRows = s.rows * s.down, cellColumns = s.columns * s.across;
    const high = HIGH / cellRows, wide = WIDE / cellColumns, cells = cellRows * cellColumns;
    const sums = new Float64Array(cells * 3);
    const clipped = [0, 0, 0];
    for (let y = 0, at = 0; y < HIGH; y++) {
      const row = Math.floor(y / high) * cellColumns;
      for (let x = 0; x < WIDE; x++, at += 4) {
        const cell = (row + Math.floor(x / wide)) * 3;
        for (let c = 0; c < 3; c++) {
          const value = pixels[at + c];
          sums[cell + c] += value;
          if (value >= s.top) clipped[c]++;
        }
      }
    }
    const inCell = high * wide, inPatch = s.down * s.across;
    const mean = new Float64Array(this.patches * 3), detail = new Float64Array(this.patches);
    let xx = 0, yy = 0;
    for (let j = 0; j < s.down; j++) for (let i = 0; i < s.across; i++) {
      xx += (i - (s.across - 1) / 2) ** 2;
      yy += (j - (s.down - 1) / 2) ** 2;
    }
    for (let p = 0; p < this.patches; p++) {
      const top = Math.floor(p / s.columns) * s.down, left = (p % s.columns) * s.across;
      let all = 0, squares = 0, alongX = 0, alongY = 0;
      for (let j = 0; j < s.down; j++) for (let i = 0; i < s.across; i++) {
        const cell = ((top + j) * cellColumns + left + i) * 3;
        let light = 0;
        for (let c = 0; c < 3; c++) {
          const value = sums[cell + c] / inCell;
          mean[p * 3 + c] += value / inPatch;
          light += value / 3;
        }
        all += light;
        squares += light * light;
        alongX += light * (i - (s.across - 1) / 2);
        alongY += light * (j - (s.down - 1) / 2);
      }
      const left_over = squares - all * all / inPatch - alongX * alongX / xx - alongY * alongY / yy;
      detail[p] = Math.sqrt(Math.max(0, left_over) / (inPatch - 3));
    }
    return {mean, detail, clipped: clipped.map((count) => count / (WIDE * HIGH)), pixelsInCell: inCell};
  }

  finger(mean, detail, grain) {
    const s = this.skin, n = this.patches, rows = s.rows, columns = s.columns;
    const hue = new Float64Array(n * 3), candidate = new Uint8Array(n);
    const look = new Uint8Array(n), through = new Uint8Array(n);
    for (let p = 0; p < n; p++) {
      const red = mean[p * 3], green = mean[p * 3 + 1], blue = mean[p * 3 + 2];
      const sum = red + green + blue, light = sum / 3, other = Math.max(green, blue), most = Math.max(red, other);
      hue[p * 3] = (red + 3) / (sum + 9);
      hue[p * 3 + 1] = (green + 3) / (sum + 9);
      hue[p * 3 + 2] = Math.log(light + 6);
      const smooth = detail[p] <= grain + s.detail_share * light;
      const tinted = most > s.tinted * Math.min(red, green, blue) && most < s.bright_tinted;
      const glare = red > s.glare && blue < s.glare_blue * red;
      look[p] = smooth && (most < s.bright || red > s.redder * other || tinted || glare) ? 1 : 0;
      through[p] = red > s.lit_through * other ? 1 : 0;
    }
    for (let p = 0; p < n; p++) {
      const y = Math.floor(p / columns), x = p % columns, kink = [0, 0, 0];
      for (let c = 0; c < 3; c++) {
        const here = 2 * hue[p * 3 + c];
        if (y > 0 && y < rows - 1) {
          kink[c] = Math.abs(hue[(p - columns) * 3 + c] + hue[(p + columns) * 3 + c] - here);
        }
        if (x > 0 && x < columns - 1) {
          kink[c] = Math.max(kink[c], Math.abs(hue[(p - 1) * 3 + c] + hue[(p + 1) * 3 + c] - here));
        }
      }
      const even = Math.max(kink[0], kink[1]) < s.hue_step || through[p];
      candidate[p] = look[p] && even && kink[2] < s.bend ? 1 : 0;
    }
    const mask = new Uint8Array(n);
    const clamp = (value, most) => Math.min(Math.max(value, 0), most);
    for (let p = 0; p < n; p++) {
      const y = Math.floor(p / columns), x = p % columns;
      let votes = 0;
      for (let dy = -1; dy <= 1; dy++) for (let dx = -1; dx <= 1; dx++) {
        votes += candidate[clamp(y + dy, rows - 1) * columns + clamp(x + dx, columns - 1)];
      }
      mask[p] = votes >= 5 ? 1 : 0;
    }
    return mask;
  }

  // Only patches under the finger count; one that is lost stops at once, one that is won comes in over a second,
  // and what a change of patches moves is held back and fades over three seconds.
  colour(timeS, mean, mask, count) {
    const n = this.patches, stepS = Math.min(Math.max(timeS - this.lastS, 0), 1);
    const anyFinger = count >= Math.floor(n / 10);
    const target = anyFinger ? this.counting(mask) : new Float64Array(n).fill(1);
    const old = this.weights;
    let weights = target;
    if (old === null || anyFinger !== this.anyFinger) {
      this.heldBack = [0, 0, 0];
    } else {
      weights = target.map((value, p) => Math.min(value, old[p] + stepS));
      if (sum(weights) < 1) weights = target;
      const total = sum(weights), before = sum(old), fade = Math.exp(-stepS / 3);
      for (let c = 0; c < 3; c++) {
        this.heldBack[c] *= fade;
        for (let p = 0; p < n; p++) {
          this.heldBack[c] += (old[p] / before - weights[p] / total) * this.lastMean[p * 3 + c];
        }
      }
    }
    this.weights = weights;
    this.anyFinger = anyFinger;
    this.lastMean = mean;
    this.lastS = timeS;
    const total = sum(weights);
    return [0, 1, 2].map((c) => {
      let value = 0;
      for (let p = 0; p < n; p++) value += weights[p] * mean[p * 3 + c];
      return Math.min(Math.max(value / total + this.heldBack[c], 0), 255);
    });
  }

  // Where there are enough others, patches at the finger's edge don't count.
  counting(mask) {
    const {rows, columns} = this.skin;
    const inner = Float64Array.from(mask, (value, p) => {
      const y = Math.floor(p / columns), x = p % columns;
      return value && (y === 0 || mask[p - columns]) && (y === rows - 1 || mask[p + columns])
        && (x === 0 || mask[p - 1]) && (x === columns - 1 || mask[p + 1]) ? 1 : 0;
    });
    return sum(inner) >= 6 ? inner : Float64Array.from(mask);
  }
}

function sum(values) {
  let all = 0;
  for (const value of values) all += value;
  return all;
}

// ---- The line to the computer: numbered frames, held until they are acknowledged.

class Line {
  // hear: called with each message. state: called with the milliseconds that the computer has been silent. again:
  // called where a new connection begins, to ask for what frames and facts don't cover.
  constructor(hear, state, again) {
    this.hear = hear;
    this.state = state;
    this.again = again;
    this.page = Math.floor(Math.random() * 2 ** 48);
    this.base = 0;      // number of the first frame in `unsent`
    this.unsent = [];   // frames that are not acknowledged
    this.cursor = 0;    // number of the next frame to send
    this.flights = [];  // numbers after each batch on its way
    this.facts = null;
    this.wishes = [];   // other messages, sent again on a new connection until they are on their way
    this.socket = null;
    this.open = false;
    this.everOpen = false;
    this.failures = 0;
    this.posting = false;  // for browsers that refuse a WebSocket under this certificate
    this.over = false;
    this.heardMs = performance.now();
    this.saidMs = 0;
    this.timer = setInterval(() => this.tick(), EVERY_MS);
    this.connect();
  }

  say(message) {
    if (message.kind === "facts") this.facts = message;
    if (message.kind !== "facts" || this.greeted) this.wishes.push(message);
    if (this.posting) this.post();
    else this.pump();
  }

  frame(row) {
    if (this.unsent.length >= MOST_UNSENT) return false;
    this.unsent.push(row);
    if (this.base + this.unsent.length - this.cursor >= BATCH) this.pump();
    return true;
  }

  get waiting() { return this.base + this.unsent.length - this.cursor; }
  get silentMs() { return performance.now() - this.heardMs; }

  connect() {
    if (this.over || this.posting) return;
    const url = new URL("link", import.meta.url);
    url.protocol = "wss:";
    const socket = new WebSocket(url);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    this.triedMs = performance.now();
    socket.onopen = () => this.opened();
    socket.onmessage = (event) => { this.heardMs = performance.now(); this.answer(JSON.parse(event.data)); };
    socket.onclose = () => this.closed(socket);
  }

  opened() {
    this.open = this.everOpen = true;
    this.failures = 0;
    this.heardMs = performance.now();
    this.greet();
  }

  greet() {
    this.greeted = false;  // frames wait until the computer says from which number on it wants them
    this.flights = [];
    this.send({kind: "hello", page: this.page});
  }

  closed(socket) {
    if (socket !== this.socket) return;
    this.socket = null;
    this.open = this.greeted = false;
    this.failures++;
    if (!this.everOpen && this.failures >= 2) this.posting = true;
    else setTimeout(() => { if (this.socket === null) this.connect(); }, AGAIN_MS);
  }

  // Begin anew on a fresh connection: this one is dead though nobody said so.
  renew() {
    const socket = this.socket;
    if (socket === null) return;
    socket.onclose = socket.onmessage = socket.onopen = null;
    socket.close();
    this.closed(socket);
  }

  tick() {
    if (this.over) return;
    this.state(this.silentMs);
    if (this.posting) { this.post(); return; }
    if (this.open && this.silentMs > SILENT_MS) this.renew();
    else if (!this.open && this.socket !== null && performance.now() - this.triedMs > TRY_MS) this.renew();
    if (this.open && performance.now() - this.saidMs > AGAIN_MS) this.send({kind: "alive"});
    this.pump();
  }

  pump() {
    if (!this.open || !this.greeted) return;
    while (this.wishes.length) this.send(this.wishes.shift());
    while (this.facts !== null && this.waiting > 0 && this.flights.length < IN_FLIGHT) this.send(this.batch());
  }

  batch() {
    const from = this.cursor - this.base, rows = this.unsent.slice(from, from + BATCH);
    const first = this.cursor;
    this.cursor += rows.length;
    this.flights.push(this.cursor);
    return {kind: "frames", first, waiting: this.waiting, frames: rows};
  }

  send(message) {
    this.saidMs = performance.now();
    this.socket.send(message instanceof Uint8Array ? message : JSON.stringify(message));
  }

  answer(message) {
    if (message.kind === "got") this.got(message.next);
    else if (message.kind === "over") this.end();
    this.hear(message);
  }

  got(next) {
    if (!this.greeted) {
      this.greeted = true;
      this.cursor = next;
      this.wishes = this.wishes.filter((each) => !(each instanceof Uint8Array));
      if (this.facts !== null) this.wishes.unshift(this.facts);
      this.again();
    }
    this.flights = this.flights.filter((end) => end > next);
    if (next > this.base) this.unsent.splice(0, next - this.base);
    this.base = Math.max(this.base, next);
    this.cursor = Math.max(this.cursor, this.base);
    this.pump();
  }

  // One message a request, the newest answers with each.
  async post() {
    if (this.busy) return;
    this.busy = true;
    try {
      do {
        if (!this.helloed) this.greeted = false;
        this.flights = [];
        this.cursor = this.base;
        const wish = this.helloed ? this.wishes[0] : undefined;
        const idle = this.facts !== null && this.waiting > 0 ? () => this.batch() : () => ({kind: "alive"});
        await this.postOne(this.helloed ? wish ?? idle() : {kind: "hello", page: this.page});
        if (wish !== undefined) this.wishes = this.wishes.filter((each) => each !== wish);
        this.helloed = true;
      } while (!this.over && (this.wishes.length || this.waiting > BATCH));
    } catch {
      this.helloed = false;  // what was not acknowledged is sent again
    } finally {
      this.busy = false;
    }
  }

  async postOne(message) {
    const binary = message instanceof Uint8Array;
    const answer = await fetch(new URL("link", import.meta.url), {
      method: "POST",
      headers: {"Content-Type": binary ? "application/octet-stream" : "application/json"},
      body: binary ? message : JSON.stringify(message),
      signal: AbortSignal.timeout(2 * SILENT_MS),
    });
    if (answer.status === 404) {
      this.answer({kind: "over", fault: true, words: "This address is used up: press for a new one on the computer."});
      return;
    }
    this.heardMs = performance.now();
    for (const each of await answer.json()) this.answer(each);
  }

  end() {
    this.over = true;
    clearInterval(this.timer);
    if (this.socket !== null) { this.socket.onclose = null; this.socket.close(); }
  }
}

// ---- The camera: opened with its lamp, each frame timed and measured.

class Camera {
  // onFrame: called with a row of numbers for each frame. onTrouble: with a short word where the camera is gone.
  constructor(video, skin, onFrame, onTrouble) {
    this.video = video;
    this.gauge = new Gauge(skin);
    this.onFrame = onFrame;
    this.onTrouble = onTrouble;
    this.canvas = Object.assign(document.createElement("canvas"), {width: WIDE, height: HIGH});
    this.context = this.canvas.getContext("2d", {willReadFrequently: true, alpha: false});
    this.context.imageSmoothingQuality = "medium";  // averages the pixels, where "low" would pick some
    this.lamp = "not offered";
    this.held = {};
    this.presented = 0;
    this.lastMs = -Infinity;
    this.number = 0;
  }

  async open(deviceId) {
    if (!("requestVideoFrameCallback" in HTMLVideoElement.prototype)) throw new Trouble("untimed");
    if (!navigator.mediaDevices?.getUserMedia) throw new Trouble("none");
    this.close();
    const wish = {width: {ideal: 640}, height: {ideal: 480}, frameRate: {ideal: 30, max: 60}};
    const which = deviceId ? {deviceId: {exact: deviceId}} : {facingMode: {ideal: "environment"}};
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({video: {...wish, ...which}, audio: false});
    } catch (error) {
      throw new Trouble({NotAllowedError: "permission", SecurityError: "permission", NotReadableError: "busy",
        AbortError: "busy"}[error.name] ?? "none");
    }
    this.track = this.stream.getVideoTracks()[0];
    this.track.onended = () => this.onTrouble("ended");
    this.video.srcObject = this.stream;
    await this.video.play();
    this.clock = null;
    this.opened = ++this.number;
    await this.light(true);
    this.next(this.opened);
  }

  close() {
    this.number++;
    if (this.stream) for (const track of this.stream.getTracks()) { track.onended = null; track.stop(); }
    this.stream = null;
  }

  get can() { return this.track?.getCapabilities?.() ?? {}; }

  async light(on) {
    // Some browsers know of the lamp only a moment after the camera is open.
    for (let tries = 0; on && !this.can.torch && tries < 3; tries++) await new Promise((done) => setTimeout(done, 300));
    if (!("torch" in this.can) || !this.can.torch) { this.lamp = "not offered"; return; }
    this.lampOn = on;
    try {
      await this.track.applyConstraints({advanced: [{...this.held, torch: on}]});
      this.lamp = on ? "on" : "off";
    } catch {
      this.lamp = "refused";
    }
  }

  // Hold exposure, white balance and focus as they are now, where the browser can.
  async hold() {
    for (const name of ["exposureMode", "whiteBalanceMode", "focusMode"]) {
      if (!this.can[name]?.includes("manual")) continue;
      const wish = {...this.held, [name]: "manual"};
      try {
        await this.track.applyConstraints({advanced: [this.lampOn ? {...wish, torch: true} : wish]});
        this.held = wish;
      } catch { /* what it did not take is not said to be held */ }
    }
    this.asked = true;
  }

  facts() {
    const now = this.track.getSettings(), can = this.can;
    const held = (name) => {
      if (now[name] === "manual") return "locked";
      if (!can[name]?.includes("manual")) return "not offered";
      return this.asked ? "not taken" : "automatic";
    };
    return {kind: "facts", width: now.width ?? 0, height: now.height ?? 0, rate: now.frameRate ?? null, known: {
      browser: navigator.userAgent.slice(0, 120),
      camera: (this.track.label || "unnamed camera").slice(0, 100),
      lamp: this.lamp,
      exposure: held("exposureMode"),
      "white balance": held("whiteBalanceMode"),
      focus: held("focusMode"),
      "frame times": this.clockWords ?? "capture times",
    }};
  }

  next(opened) {
    this.video.requestVideoFrameCallback((nowMs, meta) => {
      if (opened !== this.number) return;
      this.next(opened);
      const timeMs = this.timeMs(nowMs, meta);
      if (timeMs === null) return;  // counted as presented with the next one, and so as lost
      const jumped = Math.max(1, this.counted === opened ? meta.presentedFrames - this.seen : 1);
      this.counted = opened;
      this.seen = meta.presentedFrames;
      const again = timeMs <= this.lastMs + 0.1;  // the same frame presented once more is none that is lost
      this.presented += again ? jumped - 1 : jumped;
      if (again) return;
      this.lastMs = timeMs;
      this.context.drawImage(this.video, 0, 0, WIDE, HIGH);
      const pixels = this.context.getImageData(0, 0, WIDE, HIGH).data;
      const {colour, covered, clipped} = this.gauge.measure(pixels, timeMs / 1000);
      const digits = (value, places) => Number(value.toFixed(places));
      this.onFrame([digits(timeMs / 1000, 6), this.presented, ...colour.map((each) => digits(each, 5)),
        digits(covered, 4), ...clipped.map((each) => digits(each, 4))]);
    });
  }

  // On the page's own clock, from the best that the browser tells; chosen once for each opening of the camera.
  timeMs(nowMs, meta) {
    if (this.clock === null) {
      this.clock = "captureTime" in meta ? "capture" : meta.mediaTime > 0 ? "media" : "shown";
      this.clockWords = {capture: "capture times", media: "times in its stream", shown: "times of display"}[this.clock];
      this.shiftMs = nowMs - meta.mediaTime * 1000;
    }
    if (this.clock === "capture") return meta.captureTime ?? null;
    return this.clock === "media" ? meta.mediaTime * 1000 + this.shiftMs : meta.presentationTime;
  }
}

class Trouble extends Error {
  constructor(word) { super(word); this.word = word; }
}

// ---- The wave of the last seconds, drawn from what was measured here.

class Wave {
  constructor(canvas) {
    this.canvas = canvas;
    this.rows = [];
    this.drawnMs = 0;
  }

  add(row) {
    this.rows.push(row);
    while (row[0] - this.rows[0][0] > 7) this.rows.shift();
    if (performance.now() - this.drawnMs > 60) { this.drawnMs = performance.now(); this.draw(); }
  }

  draw() {
    const {width, height} = this.canvas, pen = this.canvas.getContext("2d");
    pen.clearRect(0, 0, width, height);
    if (this.rows.length < 30) return;
    const best = [2, 3, 4].map((c) => this.smooth(c)).reduce((one, two) => (two.moves > one.moves ? two : one));
    const end = this.rows.at(-1)[0];
    const most = Math.max(1e-4, ...best.values.slice(10).map(Math.abs));
    pen.lineWidth = 4;
    pen.lineJoin = "round";
    pen.strokeStyle = getComputedStyle(document.documentElement).getPropertyValue("--accent");
    pen.beginPath();
    for (let i = 10; i < this.rows.length; i++) {
      const x = width * (1 - (end - this.rows[i][0]) / 6.5);
      pen.lineTo(x, height / 2 + 0.42 * height * best.values[i] / most);  // blood darkens: a beat goes up
    }
    pen.stroke();
  }

  // What is left of a colour's logarithm when its average over about a second is taken out.
  smooth(c) {
    const logs = this.rows.map((row) => Math.log(row[c] + 1)), half = 15;
    const values = logs.map((value, i) => {
      const near = logs.slice(Math.max(0, i - half), i + half + 1);
      return value - sum(near) / near.length;
    });
    const clipped = this.rows.at(-1)[c + 4] > 0.05 || this.rows.at(-1)[c] < 4;
    return {values, moves: clipped ? 0 : sum(values.map((value) => value * value))};
  }
}

// ---- The page.

function run() {
  const given = JSON.parse(document.getElementById("given").textContent);
  const at = (id) => document.getElementById(id);
  const show = (id) => { for (const each of ["start", "reading", "sending", "over"]) at(each).hidden = each !== id; };
  const put = (id, words) => { if (at(id).textContent !== words) at(id).textContent = words; };
  const trouble = (words) => { put("trouble-words", words); at("trouble").hidden = !words; };
  at("fingerprint").textContent = given.fingerprint;
  const wave = new Wave(at("wave"));
  let line = null, camera = null, wakeLock = null, file = null, held = false, hidden = false, ended = false;
  let newest = null, wrong = "";

  const TROUBLES = {
    permission: "The browser may not use the camera. Allow it for this page (in the address bar or the browser's settings), then load the page again.",
    busy: "Another program has the camera. Close it, then press again.",
    none: "This browser finds no camera. Open the page in another browser, or film and send the clip.",
    ended: "The phone took the camera away from this page. Press to open it again.",
    untimed: "This browser can't time its frames. Film and send the clip instead: it does as well.",
    full: "This phone can't keep more frames: bring it back to the network.",
  };
  const PHASES = {
    waiting: "Lay a fingertip over the lens", finger: "Lay a fingertip over the lens", settling: "Settling: lie still",
    reading: "Reading", paused: "Paused: put the finger back", working: "You may lift the finger", clip: "Reading the clip",
  };

  const state = (word = wrong) => {
    wrong = word;
    line?.say({kind: "state", hidden, trouble: wrong});
    trouble(TROUBLES[wrong] ?? "");
  };

  const stayAwake = async () => {
    try {
      wakeLock = await navigator.wakeLock.request("screen");
    } catch {
      wakeLock = null;
      put("light", "This browser can't keep the screen on: touch it now and then, or lengthen the screen's time-out.");
    }
  };

  const lampWords = () => {
    const words = {on: "", off: "The lamp is off.", refused: "The browser did not light the lamp.",
      "not offered": "This browser can't light the lamp: use a bright room, or stop and film with the lamp instead."};
    if (wakeLock !== null || words[camera.lamp]) put("light", words[camera.lamp]);
    at("lamp").hidden = camera.lamp === "not offered";
    put("lamp", camera.lamp === "on" ? "Lamp off" : "Lamp on");
  };

  const frame = (row) => {
    newest = row;
    wave.add(row);
    put("covered", row[5] >= GOOD_COVER ? "The lens is covered." : `The finger covers ${Math.round(100 * row[5])} % of the lens.`);
    if (!line.frame(row)) { camera.close(); state("full"); }
  };

  const openCamera = async (deviceId) => {
    camera ??= new Camera(at("video"), given.skin, frame, lost);
    try {
      await camera.open(deviceId);
    } catch (error) {
      const word = error instanceof Trouble ? error.word : "none";
      state(word);
      if (word === "untimed" || word === "none") at("second").open = true;
      if (camera.stream) camera.close();
      return false;
    }
    line.say(camera.facts());
    state("");
    lampWords();
    return true;
  };

  const lost = (word) => { state(word); put("stop", "Open the camera again"); };

  const hear = async (message) => {
    if (message.kind === "status") {
      if (message.phase === "clip") put("sent-words", message.words || "The clip is being read on the computer.");
      const left = Math.max(0, Math.ceil(message.left ?? 0));
      put("phase", PHASES[message.phase] ?? "");
      put("left", message.left === undefined || message.phase === "finger" ? "" : `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`);
      put("pulse", message.pulse ? `${message.pulse} bpm` : "");
      put("words", message.words ?? "");
      if (message.lock && !held && camera !== null) {
        held = true;
        await camera.hold();
        line.say(camera.facts());
      }
    } else if (message.kind === "send") {
      sendFile(message.from);
    } else if (message.kind === "stored") {
      sendFile(message.to);
    } else if (message.kind === "refused") {
      trouble(capital(message.words) + ".");
      file = null;
      show("start");
    } else if (message.kind === "over") {
      over(message);
    }
  };

  const capital = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);

  const over = (message) => {
    ended = true;
    line.end();
    if (camera !== null) camera.close();  // puts the lamp out, too
    wakeLock?.release?.();
    trouble("");
    const words = capital(message.words), end = words.indexOf(". ") + 1 || words.length;
    put("over-title", message.fault ? "It ended early" : words.slice(0, end));
    put("over-words", message.fault ? words : words.slice(end).trim());
    show("over");
    navigator.vibrate?.(60);
  };

  const silent = (ms) => {
    const gone = ms > 3000 ? Math.round(ms / 1000) : 0;
    const held = line.unsent.length ? " Nothing is lost: frames are held here and sent when it is back." : "";
    const words = gone ? `The computer has not answered for ${gone} s: check the Wi-Fi.${held}` : "";
    put("line", words);
    if (file !== null && gone) put("sent-words", words);
    if (ms > GIVE_UP_MS) {
      over({fault: true, words: "the computer has not answered for two minutes. What it got before is not lost."});
    }
  };

  // A file goes in pieces, each with its place; after a break the computer says from where on.
  let asked = -1;
  const begin = () => {
    asked = -1;
    line.say({kind: "file", name: file.name.slice(-100), size: file.size, modified: file.lastModified / 1000});
  };
  const again = () => {
    if (file !== null) begin();
    line.say({kind: "state", hidden, trouble: wrong});
  };
  const connect = () => { line ??= new Line(hear, silent, again); };
  const sendFile = async (from) => {
    if (file === null || from === asked) return;
    asked = from;
    at("sent").value = from / file.size;
    put("sent-words", from < file.size ? `${(from / 1e6).toFixed(1)} of ${(file.size / 1e6).toFixed(1)} MB` : "The clip is being read on the computer.");
    if (from >= file.size) return;
    const piece = await file.slice(from, from + given.most_bytes).arrayBuffer();
    const message = new Uint8Array(8 + piece.byteLength);
    new DataView(message.buffer).setBigUint64(0, BigInt(from));
    message.set(new Uint8Array(piece), 8);
    line.say(message);
  };

  at("live").onclick = async () => {
    connect();
    at("live").disabled = true;
    await stayAwake();
    show("reading");  // a video that is not shown may not be played
    if (!await openCamera()) {
      show("start");
    } else {
      const cameras = (await navigator.mediaDevices.enumerateDevices()).filter((each) => each.kind === "videoinput");
      at("other").hidden = cameras.length < 2;
    }
    at("live").disabled = false;
  };
  at("other").onclick = async () => {
    const cameras = (await navigator.mediaDevices.enumerateDevices()).filter((each) => each.kind === "videoinput");
    const now = cameras.findIndex((each) => each.deviceId === camera.track.getSettings().deviceId);
    await openCamera(cameras[(now + 1) % cameras.length].deviceId);
  };
  at("lamp").onclick = async () => { await camera.light(camera.lamp !== "on"); lampWords(); line.say(camera.facts()); };
  at("stop").onclick = async () => {
    if (camera.track.readyState === "ended") {
      if (await openCamera()) put("stop", "Stop");
      return;
    }
    line.say({kind: "stop"});
    put("words", "Stopping…");
  };
  at("file").onchange = () => {
    file = at("file").files[0] ?? null;
    if (file === null) return;
    trouble("");
    const before = line;
    connect();
    show("sending");
    stayAwake();
    if (before !== null) begin();
  };
  document.addEventListener("visibilitychange", () => {
    hidden = document.visibilityState !== "visible";
    if (line === null || ended) return;
    state();
    if (!hidden && wakeLock !== null) stayAwake();
  });

  // What tests look at; nothing on the page uses it.
  globalThis.dawnbeat = {
    get newest() { return newest; },
    get line() { return line; },
    get camera() { return camera; },
  };
}

if (document.getElementById("given") !== null) run();
