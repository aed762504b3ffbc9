// Everything a human reads: times, sentences, names.

const percent = new Intl.NumberFormat("en", { style: "percent" });

export class Words {
  constructor(vocabulary, bout) {
    this.positions = vocabulary.positions;
    this.moments = vocabulary.moments;
    this.rules = vocabulary.rules;
    this.byKey = new Map(this.positions.map((p) => [p.key, p]));
    this.bout = bout;
  }

  /** "half_guard/knee shield" → "half guard, knee shield" */
  position(label) {
    const [key, ...finer] = label.split("/");
    return [this.byKey.get(key)?.name ?? key, ...finer].join(", ");
  }

  hasTop(label) {
    return this.byKey.get(label.split("/")[0])?.has_top ?? false;
  }

  moment(kind) {
    const attempt = kind.endsWith("_attempt");
    const name = kind.replace(/_attempt$/, "").replaceAll("_", " ");
    return attempt ? `${name}, attempt` : name;
  }

  /** "Mara Lindqvist (A, ours)", or "A" while nobody gave a name. */
  athlete(letter) {
    const name = this.bout.names[letter];
    const ours = this.bout.we === letter ? ", ours" : "";
    return name ? `${name} (${letter}${ours})` : `${letter}${ours && " (ours)"}`;
  }

  /** "Mara (A)": the first word of the name is enough in a list. */
  short(letter) {
    const first = this.bout.names[letter].trim().split(/\s+/)[0];
    return first ? `${first} (${letter})` : letter;
  }

  segment(segment) {
    const top = segment.top ? `, ${this.short(segment.top)} ${this.topWord(segment.position)}` : "";
    return this.position(segment.position) + top;
  }

  topWord(label) {
    return { back_control: "has the back", takedown: "attacks" }[label.split("/")[0]] ?? "on top";
  }

  momentSentence(moment) {
    const by = moment.athlete ? ` by ${this.short(moment.athlete)}` : "";
    return this.moment(moment.kind) + by;
  }

  sentence(row) {
    return "kind" in row ? this.momentSentence(row) : this.segment(row);
  }

  state(one) {
    if (one.state === "proposed") return `? ${percent.format(one.confidence)} sure`;
    return one.state === "accepted" ? "✓ accepted" : "✎ corrected";
  }
}

export function clock(seconds, digits = 0) {
  const sign = seconds < 0 ? "−" : "";
  const scale = 10 ** digits;
  const whole = Math.floor(Math.abs(seconds) * scale + 1e-6) / scale;
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  const rest = (whole % 60).toFixed(digits).padStart(digits ? digits + 3 : 2, "0");
  return hours ? `${sign}${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${sign}${minutes}:${rest}`;
}

export const $ = (id) => document.getElementById(id);

/** Make an element; children that are text stay text, whatever they contain. */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}
