// A bottom turned out of its meridians: drawn with WebGL, no library.  Frames come as 16-bit whole
// numbers in base64: r, z and plastic strain of every point of every frame.
const COLOURS = [[0.93, 0.9, 0.86], [0.95, 0.74, 0.45], [0.83, 0.37, 0.13], [0.45, 0.1, 0.2]];
const AROUND = 96;
const VERTEX = `
attribute vec3 place; attribute vec3 normal; attribute float value;
uniform mat4 view; varying vec3 n; varying float v;
void main() { gl_Position = view * vec4(place, 1.0); n = normal; v = value; }`;
const FRAGMENT = `
precision mediump float; varying vec3 n; varying float v; uniform vec3 eye; uniform vec3 colours[4]; uniform float edge;
void main() {
  vec3 m = normalize(n); float x = clamp(v, 0.0, 1.0) * 3.0;
  vec3 c = x < 1.0 ? mix(colours[0], colours[1], x)
    : x < 2.0 ? mix(colours[1], colours[2], x - 1.0) : mix(colours[2], colours[3], x - 2.0);
  float light = 0.45 + 0.55 * abs(dot(m, normalize(eye + vec3(0.3, -0.2, 0.5))));
  gl_FragColor = vec4(edge > 0.5 ? vec3(0.15, 0.13, 0.11) : c * light, 1.0);
}`;

const unpack = (text, low, high) => {
  const raw = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const view = new DataView(raw.buffer);
  return Float32Array.from({ length: raw.length / 2 },
    (_, i) => low + ((high - low) * view.getUint16(2 * i, true)) / 65535);
};

const turning = (box) => {
  const data = JSON.parse(box.dataset.frames);
  const { frames: m, points: n } = data;
  const [r, z, strain] = ["r", "z", "strain"].map((k) => unpack(data[k], ...data[`${k}_ends`]));
  const find = (name) => box.querySelector(name);
  const canvas = find("canvas"), along = find(".along"), cut = find(".cut"), by = find(".by");
  const gl = canvas.getContext("webgl", { antialias: true, preserveDrawingBuffer: true });
  along.max = m - 1;
  if (!gl) {
    find(".state").textContent = "This browser has no WebGL; the figures show the states.";
    return;
  }
  const shader = (kind, text) => {
    const one = gl.createShader(kind);
    gl.shaderSource(one, text);
    gl.compileShader(one);
    return one;
  };
  const program = gl.createProgram();
  gl.attachShader(program, shader(gl.VERTEX_SHADER, VERTEX));
  gl.attachShader(program, shader(gl.FRAGMENT_SHADER, FRAGMENT));
  gl.linkProgram(program);
  gl.useProgram(program);
  gl.uniform3fv(gl.getUniformLocation(program, "colours"), COLOURS.flat());
  gl.enable(gl.DEPTH_TEST);
  const vertices = new Float32Array(n * (AROUND + 1) * 7);
  const order = [];
  for (let j = 0; j < AROUND; j++)
    for (let i = 0; i + 1 < n; i++) {
      const a = j * n + i;
      order.push(a, a + n, a + 1, a + 1, a + n, a + n + 1);
    }
  const faces = order.length; // the edges of the cut follow as lines
  for (const a of [0, AROUND * n]) for (let i = 0; i + 1 < n; i++) order.push(a + i, a + i + 1);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, new Uint16Array(order), gl.STATIC_DRAW);
  gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
  [["place", 3, 0], ["normal", 3, 12], ["value", 1, 24]].forEach(([name, size, at]) => {
    const where = gl.getAttribLocation(program, name);
    gl.enableVertexAttribArray(where);
    gl.vertexAttribPointer(where, size, gl.FLOAT, false, 28, at);
  });
  const size = Math.max(...r.subarray(0, n));
  let turn = 1.35, tilt = -0.3; // seen from below, where the dome turns out

  const most = {};
  const moved = (f, i) => Math.hypot(r[f * n + i] - r[i], z[f * n + i] - z[i]);
  most.strain = data.strain_ends[1];
  most.moved = 0;
  for (let f = 0; f < m; f++) for (let i = 0; i < n; i++) most.moved = Math.max(most.moved, moved(f, i));
  most.moved = most.moved || 1;
  most.strain = most.strain || 1;

  const draw = () => {
    const at = Number(along.value), f = Math.min(Math.floor(at), m - 2), part = at - f;
    const mix = (a, i) => a[f * n + i] * (1 - part) + a[(f + 1) * n + i] * part;
    const open = 2 * Math.PI * (1 - Number(cut.value));
    const line = [];
    for (let i = 0; i < n; i++) {
      const value = by.value === "strain" ? mix(strain, i) / most.strain
        : Math.hypot(mix(r, i) - r[i], mix(z, i) - z[i]) / most.moved;
      line.push([mix(r, i), mix(z, i), value]);
    }
    let k = 0;
    for (let j = 0; j <= AROUND; j++) {
      const angle = (open * j) / AROUND, c = Math.cos(angle), s = Math.sin(angle);
      for (let i = 0; i < n; i++) {
        const [a, b] = [line[Math.max(i - 1, 0)], line[Math.min(i + 1, n - 1)]];
        const dr = b[0] - a[0], dz = b[1] - a[1];
        vertices.set([line[i][0] * c, line[i][0] * s, line[i][1], -dz * c, -dz * s, dr, line[i][2]], k);
        k += 7;
      }
    }
    gl.bufferData(gl.ARRAY_BUFFER, vertices, gl.DYNAMIC_DRAW);
    const ratio = window.devicePixelRatio || 1;
    canvas.width = canvas.clientWidth * ratio;
    canvas.height = canvas.clientHeight * ratio;
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(1, 1, 1, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    // parallel projection: one scale in all directions
    const ct = Math.cos(turn), st = Math.sin(turn), ca = Math.cos(tilt), sa = Math.sin(tilt);
    const aspect = canvas.width / canvas.height;
    const scale = Math.min(1.3, aspect) / (1.12 * size), mid = 0.15 * size;
    const x = [ct, st, 0], y = [-st * sa, ct * sa, ca], d = [st * ca, -ct * ca, sa];
    const row = (v, s, shift) => [v[0] * s, v[1] * s, v[2] * s, shift];
    const rows = [row(x, scale / aspect, 0), row(y, scale, -mid * ca * scale), row(d, -0.3 * scale, 0), [0, 0, 0, 1]];
    gl.uniformMatrix4fv(gl.getUniformLocation(program, "view"), false,
      [0, 1, 2, 3].flatMap((c) => rows.map((one) => one[c])));
    gl.uniform3fv(gl.getUniformLocation(program, "eye"), d);
    const edge = gl.getUniformLocation(program, "edge");
    gl.uniform1f(edge, 0);
    gl.drawElements(gl.TRIANGLES, faces, gl.UNSIGNED_SHORT, 0);
    gl.uniform1f(edge, 1);
    if (Number(cut.value) > 0) gl.drawElements(gl.LINES, order.length - faces, gl.UNSIGNED_SHORT, 2 * faces);
    const near = Math.round(at);
    find(".state").textContent = data.states[near];
    along.setAttribute("aria-valuetext", data.states[near]);
    box.dataset.frame = near;
  };
  const css = COLOURS.map((c) => `rgb(${c.map((v) => Math.round(255 * v)).join()})`);
  find(".bar").style.background = `linear-gradient(to right, ${css.join()})`;
  const legend = () => {
    find(".low").textContent = "0";
    find(".high").textContent = by.value === "strain"
      ? `${(100 * most.strain).toFixed(1)} % plastic strain, largest through the gauge`
      : `${most.moved.toFixed(1)} mm displacement`;
  };
  let playing = 0;
  const play = find(".play");
  const stop = () => { cancelAnimationFrame(playing); playing = 0; play.textContent = "Play"; };
  play.addEventListener("click", () => {
    if (playing) return stop();
    if (Number(along.value) >= m - 1) along.value = 0;
    play.textContent = "Pause";
    let last = performance.now();
    const step = (now) => {
      along.value = Number(along.value) + (now - last) * (m / 6000);
      last = now;
      draw();
      if (Number(along.value) >= m - 1) stop();
      else playing = requestAnimationFrame(step);
    };
    playing = requestAnimationFrame(step);
  });
  along.addEventListener("input", () => { stop(); draw(); });
  cut.addEventListener("input", draw);
  by.addEventListener("change", () => { legend(); draw(); });
  let held = null;
  canvas.addEventListener("pointerdown", (e) => { held = e; canvas.setPointerCapture(e.pointerId); });
  canvas.addEventListener("pointerup", () => (held = null));
  const bound = (x) => Math.max(-1.55, Math.min(1.55, x));
  canvas.addEventListener("pointermove", (e) => {
    if (!held) return;
    turn -= (e.clientX - held.clientX) * 0.01;
    tilt = bound(tilt + (e.clientY - held.clientY) * 0.01);
    held = e;
    draw();
  });
  canvas.addEventListener("keydown", (e) => {
    const by = { ArrowLeft: [0.1, 0], ArrowRight: [-0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[e.key];
    if (!by) return;
    e.preventDefault();
    turn += by[0];
    tilt = bound(tilt + by[1]);
    draw();
  });
  window.addEventListener("resize", draw);
  legend();
  draw();
};
document.querySelectorAll(".turning").forEach(turning);
