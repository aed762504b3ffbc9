// The mat that counts: drawn once on a picture, or typed in as four numbers.

import { get, put } from "./api.js";
import { clock, el } from "./words.js";

const EDGES = ["left", "top", "right", "bottom"];

export class MatDialog {
  constructor(dialog) {
    this.dialog = dialog;
    this.picture = dialog.querySelector("img");
    this.canvas = dialog.querySelector("canvas");
    this.status = dialog.querySelector("[role=status]");
    this.inputs = EDGES.map((edge) => dialog.querySelector(`[name=${edge}]`));
    for (const input of this.inputs) input.addEventListener("input", () => this.typed());
    this.canvas.addEventListener("pointerdown", (event) => this.begin(event));
    this.canvas.addEventListener("pointermove", (event) => this.drag(event));
    this.canvas.addEventListener("pointerup", () => (this.from = null));
    this.picture.addEventListener("load", () => this.paint());
    new ResizeObserver(() => this.paint()).observe(this.canvas);
    dialog.querySelector("form").addEventListener("submit", (event) => this.save(event));
    dialog.querySelector("[value=whole]").addEventListener("click", () => this.take([]));
    dialog.querySelector("[value=close]").addEventListener("click", () => dialog.close());
  }

  /** Show the picture at a time with the mat as it was kept. */
  async open(path, time, [width, height]) {
    const { corners, neighbours } = await get(`${path}/mat`);
    Object.assign(this, { path, width, height });
    this.inputs.forEach((input, i) => (input.max = i % 2 ? height : width));
    this.picture.src = `${path}/still?time_s=${time.toFixed(3)}`;
    this.picture.alt = `The picture at ${clock(time, 1)}`;
    this.canvas.style.aspectRatio = `${width} / ${height}`;
    this.canvas.parentElement.style.width = `min(100%, ${((55 * width) / height).toFixed(1)}vh)`;
    const line = this.dialog.querySelector(".same-camera");
    line.hidden = neighbours === 0;
    line.querySelector("span").textContent = neighbours === 1
      ? "Also for the other file in its folder, if its picture is as large"
      : `Also for the ${neighbours} other files in its folder whose pictures are as large`;
    this.take(corners);
    this.status.textContent = "";
    this.dialog.showModal();
    this.inputs[0].select();
  }

  take(corners) {
    this.corners = corners;
    const [xs, ys] = [0, 1].map((axis) => corners.map((corner) => corner[axis]));
    const edges = corners.length ? [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)] : ["", "", "", ""];
    this.inputs.forEach((input, i) => (input.value = edges[i] === "" ? "" : Math.round(edges[i])));
    this.paint();
  }

  typed() {
    const edges = this.inputs.map((input) => (input.value === "" ? NaN : Number(input.value)));
    this.corners = edges.some(Number.isNaN) ? [] : box(...edges);
    this.paint();
  }

  begin(event) {
    this.from = this.at(event);
    this.canvas.setPointerCapture(event.pointerId);
  }

  drag(event) {
    if (!this.from) return;
    this.take(box(...this.from, ...this.at(event)));
  }

  /** Pixels of the original's picture under the pointer. */
  at(event) {
    const { left, top, width, height } = this.canvas.getBoundingClientRect();
    const within = (part, most) => Math.round(Math.min(1, Math.max(0, part)) * most);
    return [within((event.clientX - left) / width, this.width), within((event.clientY - top) / height, this.height)];
  }

  paint() {
    const { canvas, corners = [] } = this;
    const ratio = devicePixelRatio || 1;
    canvas.width = Math.round(canvas.clientWidth * ratio);
    canvas.height = Math.round(canvas.clientHeight * ratio);
    if (!corners.length || !canvas.width) return;
    const context = canvas.getContext("2d");
    const scale = canvas.width / this.width;
    const mat = new Path2D();
    corners.forEach(([x, y], i) => mat[i ? "lineTo" : "moveTo"](x * scale, y * scale));
    mat.closePath();
    const beside = new Path2D(mat);
    beside.rect(0, 0, canvas.width, canvas.height);
    context.fillStyle = "#000a";
    context.fill(beside, "evenodd");
    context.lineWidth = 3 * ratio;
    context.strokeStyle = "#f0e442";
    context.stroke(mat);
  }

  async save(event) {
    event.preventDefault();
    const typed = this.inputs.filter((input) => input.value !== "").length;
    try {
      if (typed && !this.corners.length) throw new Error("Give all four edges, or none for the whole picture.");
      const same = this.dialog.querySelector("[name=same]");
      const body = { corners: this.corners, same_camera: same.checked };
      this.status.replaceChildren(...told(await put(`${this.path}/mat`, body)));
    } catch (error) {
      this.status.textContent = error.message;
    }
  }
}

function told({ files, advice, corrected }) {
  const kept = files === 1 ? "Saved." : `Saved for ${files} files.`;
  const who = corrected === 1 ? "One bout was corrected; once read again it shows" : `${corrected} bouts were corrected; once read again they show`;
  const lost = corrected ? ` ${who} a new proposal without the corrections.` : "";
  return [`${kept} What you see was read before.${lost} To read it again, in a terminal:`, el("code", {}, advice)];
}

function box(x0, y0, x1, y1) {
  const [left, right] = [Math.min(x0, x1), Math.max(x0, x1)];
  const [top, bottom] = [Math.min(y0, y1), Math.max(y0, y1)];
  return [[left, top], [right, top], [right, bottom], [left, bottom]];
}
