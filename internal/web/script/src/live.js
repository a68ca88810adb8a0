// A page that follows a campaign, or the whole workspace, shows its newest state
// without being loaded again: the server says what changed, and the page's main
// part is fetched and put in the place of the old one.

export function follow(afterSwap) {
  const wanted = document.body.dataset.live;
  if (!wanted || !window.EventSource) return;
  let stream = null;
  let place = document.body.dataset.changed || ""; // up to where this page has heard
  let timer = 0;
  let lost = false; // no news reach this page
  let busy = false;
  let again = false;
  listen();
  document.addEventListener("visibilitychange", listen);
  window.addEventListener("pagehide", () => stream?.close());
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) window.location.reload();
  });

  // A page that nobody sees hears nothing and catches up when it is seen again: a
  // browser has six connections for all pages of a server, and a stream holds one.
  function listen() {
    if (document.hidden) {
      stream?.close();
      stream = null;
    } else if (!stream) {
      stream = new EventSource("/events?after=" + encodeURIComponent(place));
      stream.addEventListener("here", (event) => {
        place = event.data;
        if (lost) say("");
        lost = false;
      });
      stream.addEventListener("error", (event) => {
        // Where the connection broke, the browser comes back by itself; where it was
        // refused, it does not.
        if (event.target !== stream || stream.readyState !== EventSource.CLOSED) return;
        stream = null;
        lost = true;
        say("No news reach this page now. It asks again by itself; to be sure, load it again.");
        window.setTimeout(listen, 5000);
      });
      stream.addEventListener("change", (event) => {
        place = event.lastEventId;
        if (!concerns(event.data.trim(), wanted)) return;
        window.clearTimeout(timer);
        timer = window.setTimeout(renew, 60); // several changes at once are one
      });
    }
  }

  async function renew() {
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    try {
      if (filledIn(document.querySelector("main"))) {
        offer();
      } else {
        await swap(afterSwap);
      }
    } catch (problem) {
      say("This page could not be brought up to date: " + problem.message);
    } finally {
      busy = false;
      if (again) {
        again = false;
        renew();
      }
    }
  }

  // What a person has typed is not thrown away: they choose when.
  function offer() {
    const place = document.getElementById("live");
    place.textContent = "There is something new. ";
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Show it";
    button.addEventListener("click", () => swap(afterSwap).catch((problem) => say(problem.message)));
    place.append(button);
  }
}

// concerns says whether a change ("campaign twin") is what the page follows.
function concerns(changed, wanted) {
  return wanted === "*" || changed === "*" || changed === wanted;
}

async function swap(afterSwap) {
  // A form that was refused is shown at an address that takes forms only.
  const here = new URL(document.body.dataset.here, window.location.href);
  const answer = await fetch(here, { headers: { Accept: "text/html" }, cache: "no-cache" });
  if (answer.redirected && new URL(answer.url).pathname === "/sign-in") {
    window.location.reload();
    return;
  }
  if (!answer.ok) throw new Error("the server answers " + answer.status);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const next = fresh.querySelector("main");
  const main = document.querySelector("main");
  if (!next || !main) throw new Error("the answer is no page");
  const open = [...main.querySelectorAll("details[open] > summary")].map((s) => s.textContent);
  const focused = document.activeElement && main.contains(document.activeElement) ? document.activeElement.id : "";
  for (const plot of main.querySelectorAll(".plot")) plot.dispatchEvent(new Event("leave"));
  const adopted = document.adoptNode(next);
  for (const notice of adopted.querySelectorAll(".notice")) notice.remove();
  main.replaceWith(adopted);
  for (const summary of adopted.querySelectorAll("details > summary")) {
    if (open.includes(summary.textContent)) summary.parentElement.open = true;
  }
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  if (here.pathname !== window.location.pathname) window.history.replaceState(null, "", here);
  document.title = fresh.title;
  document.body.dataset.changed = fresh.body.dataset.changed || "";
  say("Brought up to date at " + new Date().toLocaleTimeString() + ".");
  afterSwap();
}

// filledIn says whether a person has begun to fill in a form, or has one before them
// that was refused.
function filledIn(main) {
  if (main.querySelector('[role="alert"]')) return true;
  for (const field of main.querySelectorAll("form input, form textarea, form select")) {
    if (field.type === "hidden" || field.type === "submit") continue;
    if (field.type === "checkbox" || field.type === "radio") {
      if (field.checked !== field.defaultChecked) return true;
    } else if (field.tagName === "SELECT") {
      const set = [...field.options].findIndex((o) => o.defaultSelected);
      if (field.selectedIndex !== Math.max(set, 0)) return true;
    } else if (field.value !== field.defaultValue) return true;
  }
  return false;
}

function say(text) {
  document.getElementById("live").textContent = text;
}
