// What the server says of the spin that runs: the sentence, the alarm and its sound.

/** Show a state: { state, line, sub, alarm, level, quiet }. */
export function showState(say, sounds) {
  const panel = document.getElementById("panel");
  if (panel.dataset.live !== `${say.state} ${say.line}`) {
    panel.dataset.live = `${say.state} ${say.line}`;
    showSentence(say);
    document.getElementById("told").textContent = readAloud(say);
  }
  turnScreen(Boolean(say.alarm), sounds);
}

/** In an alarm the pedal only quiets the horn: the program stops no rotor, and the picture stays. */
export function turnScreen(alarm, sounds) {
  document.body.classList.toggle("alarm", alarm);
  const quiet = document.querySelector("[data-quiet-horn]"); // not on the wall, which has nothing to press
  if (quiet && quiet.hidden === alarm) {
    quiet.hidden = !alarm;
    quiet.toggleAttribute("data-next", alarm);
    const stop = document.querySelector(".act form button");
    if (stop) {
      stop.hidden = alarm;
      stop.toggleAttribute("data-next", !alarm);
    } else document.querySelector(".act .off").hidden = alarm; // captured by the rig's agent
  }
  sounds.alarm(alarm);
}

/** Return the sentence without its marks. */
function readAloud(say) {
  return [say.line, say.sub]
    .filter(Boolean)
    .join(" ")
    .replace(/[*[\]]/g, "");
}

const LONG = 34; // letters that a bench's screen holds in one line of the largest type

function showSentence(say) {
  const heading = document.getElementById("say");
  heading.classList.toggle("long", readAloud(say).length > LONG);
  const line = document.createElement("span");
  line.className = "line";
  line.append(...stressed(say.line));
  if (say.sub) {
    const sub = document.createElement("span");
    sub.className = "sub";
    sub.append(...stressed(say.sub));
    line.append(sub);
  }
  heading.replaceChildren(document.querySelector(".octagon").cloneNode(true), line);
}

/** Return a sentence as nodes: *stress* as b, [what may go] in a span of class wide. */
export function stressed(text) {
  return text.split(/(\*[^*]+\*|\[[^\]]+\])/).map((part) => {
    const mark = part.startsWith("*") ? "b" : part.startsWith("[") ? "span" : "";
    if (!mark) return document.createTextNode(part);
    const node = document.createElement(mark);
    if (mark === "span") node.className = "wide";
    node.textContent = part.slice(1, -1);
    return node;
  });
}
