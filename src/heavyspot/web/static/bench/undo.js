// A cut that was written down by one press can be taken back by one more, for five seconds.
const UNDO_MS = 5000;

/** Take the button away when its time is over; its place stays, so that nothing moves under a finger. */
export function fadeUndo(panel) {
  for (const form of panel.querySelectorAll('form[action$="/undo"]')) {
    setTimeout(() => {
      form.querySelector("button").disabled = true;
      form.classList.add("over-with");
    }, UNDO_MS);
  }
}
