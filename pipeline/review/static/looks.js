// Colours and patterns of bands and flags. Colours are Okabe and Ito's (jfly.uni-koeln.de/color);
// within one colour, a pattern and a two-letter code tell the positions apart.

const FAMILIES = {
  standing: ["#56b4e9", ""], takedown: ["#0072b2", "slant"],
  closed_guard: ["#009e73", ""], open_guard: ["#009e73", "slant"], half_guard: ["#009e73", "dots"],
  side_control: ["#e69f00", ""], north_south: ["#e69f00", "slant"], knee_on_belly: ["#e69f00", "dots"],
  mount: ["#d55e00", ""], back_control: ["#cc79a7", ""], turtle: ["#cc79a7", "dots"],
  leg_entanglement: ["#f0e442", "slant"], scramble: ["#b8b8b8", "cross"], apart: ["#dcdcdc", ""],
  unknown: ["#ffffff", "cross"],
};
const CODES = {
  standing: "ST", takedown: "TD", closed_guard: "CG", open_guard: "OG", half_guard: "HG",
  side_control: "SC", north_south: "NS", knee_on_belly: "KB", mount: "MT", back_control: "BC",
  turtle: "TU", leg_entanglement: "LE", scramble: "SX", apart: "AP", unknown: "??",
};
const MOMENT_CODES = {
  rise: "rise", lift: "lift", reversal: "rev", sweep: "sweep", takedown: "TD", guard_pass: "pass",
  mount_taken: "mount", back_taken: "back", knee_on_belly_taken: "KB", stand_up: "up",
};
const coarse = (label) => label.split("/")[0];

export const positionCode = (label) => CODES[coarse(label)] ?? "??";
export const momentCode = (kind) => MOMENT_CODES[kind.replace(/_attempt$/, "")] ?? kind;

const patterns = new Map();

export function bandStyle(context, label) {
  const [fill, kind] = FAMILIES[coarse(label)] ?? FAMILIES.unknown;
  if (kind && !patterns.has(kind)) patterns.set(kind, makePattern(context, kind));
  return { fill, pattern: patterns.get(kind), plate: "#ffffffd0", text: "#16191c" };
}

function makePattern(context, kind) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  pen.strokeStyle = pen.fillStyle = "#00000066";
  pen.lineWidth = 1.2;
  const line = (x0, y0, x1, y1) => {
    pen.beginPath();
    pen.moveTo(x0, y0);
    pen.lineTo(x1, y1);
    pen.stroke();
  };
  if (kind === "dots") pen.fillRect(2, 2, 2, 2);
  if (kind === "slant" || kind === "cross") line(-1, 9, 9, -1);
  if (kind === "cross") line(-1, -1, 9, 9);
  return context.createPattern(tile, "repeat");
}

/** The page's colours, as the style sheet has them for light or dark. */
export function palette() {
  const style = getComputedStyle(document.documentElement);
  const read = (name) => style.getPropertyValue(name).trim();
  return {
    a: read("--a"), b: read("--b"), ink: read("--ink"), soft: read("--soft-ink"), line: read("--line"),
    hair: read("--hair"), ground: read("--raised"), sunk: read("--sunk"), doubt: read("--doubt"),
  };
}
