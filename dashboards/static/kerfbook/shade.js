// Figures are drawn on the server: it is told whether this device is set to dark.
(() => {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const note = () => {
    const shade = dark.matches ? "dark" : "light";
    document.cookie = `kerfbook-shade=${shade};path=/;max-age=31536000;samesite=lax`;
  };
  note();
  dark.addEventListener("change", () => {
    note();
    if (document.querySelector(".js-plotly-plot")) location.reload();
  });
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) print();
  });
})();
