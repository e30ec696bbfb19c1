/** Let "Back" go where the reader came from, when there is such a page. */
export function backOnClick(page) {
  for (const link of page.querySelectorAll("[data-back]")) {
    link.addEventListener("click", (event) => {
      if (history.length <= 1) return;
      event.preventDefault();
      history.back();
    });
  }
}
