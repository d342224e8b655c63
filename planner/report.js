"use strict";
/* The replay: draws the swarm from the data in #replay-data on a canvas.
 * Nothing is fetched; without DecompressionStream a coarse copy is played. */
(function () {
  const source = document.getElementById("replay-data");
  if (!source) return;
  const data = JSON.parse(source.textContent);
  const byId = (id) => document.getElementById("replay-" + id);
  const canvas = byId("canvas"), context = canvas.getContext("2d");
  const slider = byId("time"), button = byId("play"), speed = byId("speed"), view = byId("view");
  const status = byId("status");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const end = data.times[data.times.length - 1];
  const shape = document.getElementById("channel-shape");
  const walls = shape ? new Path2D(shape.getAttribute("d")) : null;
  let times = [], xs = null, ys = null; /* frames x particles, on the grid */
  let now = 0, playing = false, last = 0, scheduled = false, colours = {};
  let centre = null; /* of the following view, moved softly */

  /* --- data ---------------------------------------------------------------- */

  function decode64(text) {
    const raw = atob(text), bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    return bytes;
  }

  async function unpack(copy) {
    let bytes = decode64(copy.bytes);
    if (copy.deflated) {
      const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
      bytes = new Uint8Array(await new Response(stream).arrayBuffer());
    }
    const n = data.n, values = bytes.length / 2, frames = values / (2 * n);
    xs = new Uint16Array(n * frames);
    ys = new Uint16Array(n * frames);
    for (let k = 0; k < frames; k++) {
      for (let i = 0; i < n; i++) {
        const a = 2 * n * k + i, b = a + n, to = n * k + i;
        xs[to] = (k ? xs[to - n] : 0) + (bytes[a] | bytes[values + a] << 8);
        ys[to] = (k ? ys[to - n] : 0) + (bytes[b] | bytes[values + b] << 8);
      }
    }
    times = data.times.filter((_, i) => i % copy.stride === 0);
  }

  function lastNotAfter(list, time, key) {
    let low = 0, high = list.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (key(list[middle]) <= time) low = middle; else high = middle - 1;
    }
    return low;
  }

  /* --- drawing ------------------------------------------------------------- */

  function readColours() {
    const style = getComputedStyle(document.documentElement);
    const of = (name) => style.getPropertyValue("--" + name).trim();
    colours = {
      ink: of("ink"), quiet: of("quiet"), water: of("water"), stone: of("stone"),
      edge: of("stone-edge"), accent: of("accent"),
      fates: { wall: of("wall-fate"), washed_out: of("washed"), delivered: of("delivered"),
               left_behind: of("behind"), in_transit: of("transit"), scattered: of("scattered") }
    };
  }

  function resize() {
    const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth || 600;
    const height = Math.round(Math.min(Math.max(width * 0.46, 240), 460));
    canvas.style.height = height + "px";
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    draw();
  }

  /* Scale and middle of the picture in micrometres. */
  function camera(frame, width, height) {
    const b = data.bounds;
    const whole = Math.min(width / (b[2] - b[0]), height / (b[3] - b[1])) * 0.94;
    if (view.value === "whole") return { scale: whole, x: (b[0] + b[2]) / 2, y: (b[1] + b[3]) / 2 };
    const body = Math.max(frame[5] * 1.9, Math.hypot(frame[8] - frame[12], frame[9] - frame[13]) * 1.9,
                          40 * data.radius);
    const aim = { x: frame[3], y: frame[4], size: body };
    if (!centre || !playing || calm.matches) centre = aim;
    const follow = 0.08;
    centre = { x: centre.x + follow * (aim.x - centre.x), y: centre.y + follow * (aim.y - centre.y),
               size: centre.size + follow * (aim.size - centre.size) };
    return { scale: Math.max(whole, Math.min(width, 1.6 * height) / centre.size),
             x: centre.x, y: centre.y };
  }

  function drawGround(scale) {
    if (!walls) {
      canvas.style.background = colours.water;
    } else {
      context.fillStyle = colours.water;
      context.fill(walls, "evenodd");
      context.strokeStyle = colours.edge;
      context.lineWidth = 1.2 / scale;
      context.stroke(walls);
    }
    context.beginPath();
    context.arc(data.target[0], data.target[1], data.target[2], 0, 2 * Math.PI);
    context.strokeStyle = colours.ink;
    context.lineWidth = 1.2 / scale;
    context.stroke();
  }

  function drawParticles(scale) {
    const n = data.n, k = lastNotAfter(times, now, (t) => t), next = Math.min(k + 1, times.length - 1);
    const span = times[next] - times[k];
    const share = span > 0 ? Math.min((now - times[k]) / span, 1) : 0;
    const radius = Math.max(data.radius, 0.9 / scale), big = data.radius * scale > 2.2;
    data.fateNames.forEach((name, fate) => {
      const digit = String(fate), path = new Path2D();
      const ring = big && name !== "delivered", r = ring ? radius * 0.72 : radius;
      let any = false;
      for (let i = 0; i < n; i++) {
        if (data.fates[i] !== digit) continue;
        const a = n * k + i, b = n * next + i;
        const x = data.origin[0] + data.step * (xs[a] + share * (xs[b] - xs[a]));
        const y = data.origin[1] + data.step * (ys[a] + share * (ys[b] - ys[a]));
        path.moveTo(x + r, y);
        path.arc(x, y, r, 0, 2 * Math.PI);
        any = true;
      }
      if (!any) return;
      context.fillStyle = ring ? colours.water : colours.fates[name];
      context.fill(path);
      context.strokeStyle = ring ? colours.fates[name] : colours.water;
      context.lineWidth = ring ? radius * 0.56 : 0.6 / scale;
      if (big) context.stroke(path);
    });
  }

  function drawMarks(frame, scale) {
    context.strokeStyle = colours.accent;
    context.lineWidth = 1.3 / scale;
    context.setLineDash([5 / scale, 4 / scale]);
    context.beginPath();
    context.ellipse(frame[3], frame[4], frame[5] / 2, frame[6] / 2, frame[7] * Math.PI / 180, 0, 2 * Math.PI);
    context.stroke();
    context.setLineDash([]);
    const half = 13 / scale;
    for (const at of [8, 12]) {
      context.beginPath();
      context.moveTo(frame[at] - half * frame[at + 3], frame[at + 1] + half * frame[at + 2]);
      context.lineTo(frame[at] + half * frame[at + 3], frame[at + 1] - half * frame[at + 2]);
      context.stroke();
    }
  }

  /* Heading of the drive and the scale bar, in the picture's own units. */
  function drawInset(frame, scale, width, height) {
    context.save();
    context.translate(width - 34, 34);
    context.beginPath();
    context.arc(0, 0, 24, 0, 2 * Math.PI);
    context.fillStyle = colours.water;
    context.globalAlpha = 0.8;
    context.fill();
    context.globalAlpha = 1;
    context.rotate(-frame[2]);
    context.strokeStyle = colours.ink;
    context.lineWidth = 2;
    context.beginPath();
    context.moveTo(-16, 0);
    context.lineTo(16, 0);
    context.moveTo(9, -6);
    context.lineTo(16, 0);
    context.lineTo(9, 6);
    context.stroke();
    context.restore();
    const most = 110 / scale, power = Math.pow(10, Math.floor(Math.log10(most)));
    const length = power * (most / power >= 5 ? 5 : most / power >= 2 ? 2 : 1);
    const right = width - 14, base = height - 14;
    context.fillStyle = colours.water;
    context.globalAlpha = 0.8;
    context.fillRect(right - length * scale - 8, base - 24, length * scale + 16, 32);
    context.globalAlpha = 1;
    context.strokeStyle = context.fillStyle = colours.ink;
    context.lineWidth = 2;
    context.beginPath();
    context.moveTo(right - length * scale, base);
    context.lineTo(right, base);
    context.stroke();
    context.font = "12px system-ui, sans-serif";
    context.textAlign = "center";
    context.fillText(length + " \u00b5m", right - length * scale / 2, base - 7);
  }

  function draw() {
    if (!xs || !canvas.width) return;
    const ratio = window.devicePixelRatio || 1;
    const width = canvas.width / ratio, height = canvas.height / ratio;
    const frame = data.frames[lastNotAfter(data.frames, now, (f) => f[0])];
    const eye = camera(frame, width, height);
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    context.save();
    context.translate(width / 2, height / 2);
    context.scale(eye.scale, -eye.scale);
    context.translate(-eye.x, -eye.y);
    drawGround(eye.scale);
    drawParticles(eye.scale);
    drawMarks(frame, eye.scale);
    context.restore();
    drawInset(frame, eye.scale, width, height);
    slider.value = now;
    slider.setAttribute("aria-valuetext", now.toFixed(1) + " seconds");
    status.replaceChildren(...[now.toFixed(1) + " s of " + end.toFixed(1) + " s",
                               "leg: " + (data.legs[frame[1]] || ""),
                               "heading " + Math.round(frame[2] * 180 / Math.PI) + "\u00b0"]
      .map((text) => { const part = document.createElement("span"); part.textContent = text; return part; }));
  }

  /* --- playing ------------------------------------------------------------- */

  function step(stamp) {
    scheduled = false;
    if (!playing) return;
    /* With reduced motion the picture changes once a second instead of moving. */
    const least = calm.matches ? 1000 : 0;
    if (stamp - last >= least) {
      now += Math.min((stamp - last) / 1000, least ? 1.2 : 0.1) * Number(speed.value);
      last = stamp;
      if (now >= end) { now = end; setPlaying(false); }
      draw();
    }
    schedule();
  }

  function schedule() {
    if (playing && !scheduled) {
      scheduled = true;
      requestAnimationFrame(step);
    }
  }

  function setPlaying(on) {
    if (on && now >= end) now = 0;
    playing = on;
    last = performance.now();
    button.textContent = on ? "Pause" : "Play";
    schedule();
  }

  function jump(time) {
    now = Math.min(Math.max(time, 0), end);
    draw();
  }

  function changeSpeed(by) {
    const index = Math.min(Math.max(speed.selectedIndex + by, 0), speed.options.length - 1);
    speed.selectedIndex = index;
  }

  function key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.tagName === "SELECT") return;
    const own = event.target === slider; /* it moves itself by arrows, Home and End */
    const actions = {
      " ": () => event.target !== button && setPlaying(!playing),
      "ArrowLeft": () => !own && jump(now - 1),
      "ArrowRight": () => !own && jump(now + 1),
      "Home": () => !own && jump(0),
      "End": () => !own && jump(end),
      "+": () => changeSpeed(1),
      "-": () => changeSpeed(-1),
      "v": () => { view.value = view.value === "whole" ? "follow" : "whole"; draw(); }
    };
    const action = actions[event.key];
    if (action && action() !== false) event.preventDefault();
  }

  async function start() {
    try {
      await unpack(typeof DecompressionStream === "function" ? data.fine : data.coarse);
    } catch (wrong) {
      await unpack(data.coarse);
    }
    byId("player").hidden = false;
    byId("none").hidden = true;
    slider.max = end;
    if (calm.matches) view.value = "whole";
    readColours();
    dark.addEventListener("change", () => { readColours(); draw(); });
    window.addEventListener("resize", resize);
    button.addEventListener("click", () => setPlaying(!playing));
    canvas.addEventListener("click", () => setPlaying(!playing));
    slider.addEventListener("input", () => { setPlaying(false); jump(Number(slider.value)); });
    view.addEventListener("change", draw);
    byId("player").addEventListener("keydown", key);
    resize();
  }

  start();
})();
