/* Has the browser keep the page for the time without network, where it may: over HTTPS, and on the
   machine itself. */

const { worker, scope } = document.documentElement.dataset;
if (worker && "serviceWorker" in navigator) navigator.serviceWorker.register(worker, { scope }).catch(() => {});
