// Talking to the server: one sentence per failure, and the token only ever in a cookie.

export class Problem extends Error {
  constructor(status, detail) {
    super(detail);
    this.status = status;
  }
}

/** Hand in the token of the printed link, if there is one, and take it out of the address. */
export async function openSession() {
  const token = new URLSearchParams(location.hash.slice(1)).get("token");
  if (!token) return;
  history.replaceState(null, "", location.pathname);
  await post("/api/session", { token });
}

export const get = (path) => send("GET", path).then((answer) => answer.json());
export const getBytes = (path) => send("GET", path).then((answer) => answer.arrayBuffer());
export const post = (path, body, options) => send("POST", path, body, options).then(content);
export const patch = (path, body) => send("PATCH", path, body).then(content);
export const put = (path, body) => send("PUT", path, body).then(content);

const content = (answer) => (answer.status === 204 ? null : answer.json());

async function send(method, path, body, options = {}) {
  const request = { method, credentials: "same-origin", ...options };
  if (body !== undefined) {
    request.headers = { "Content-Type": "application/json" };
    request.body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(path, request);
  } catch {
    throw new Problem(0, "The server doesn’t answer. What is saved stays saved; start `matline review` again.");
  }
  if (answer.ok) return answer;
  const { detail } = await answer.json().catch(() => ({ detail: answer.statusText }));
  throw new Problem(answer.status, detail);
}
