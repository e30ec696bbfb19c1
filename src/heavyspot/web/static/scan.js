// The camera as a scanner: what is read goes where the Find box would lead.
(() => {
  const button = document.querySelector("[data-scan]");
  if (!button || !navigator.mediaDevices?.getUserMedia) return;
  button.hidden = false;
  const dialog = document.querySelector("#scan");
  const video = dialog.querySelector("video");
  const say = dialog.querySelector("output");
  let stream = null;

  function reader() {
    if (window.jsQR) return Promise.resolve();
    return new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = "/static/vendor/jsQR.js";
      script.onload = done;
      script.onerror = failed;
      document.head.append(script);
    });
  }

  function stop() {
    stream?.getTracks().forEach((t) => t.stop());
    stream = null;
    video.srcObject = null;
  }

  // the browser's own reader knows bar codes too; where it has none, QR codes are read here
  async function read(canvas, own) {
    if (own) {
      const found = await own.detect(canvas);
      if (found.length) return found[0].rawValue;
    }
    const c = canvas.getContext("2d", { willReadFrequently: true });
    const picture = c.getImageData(0, 0, canvas.width, canvas.height);
    return window.jsQR(picture.data, picture.width, picture.height)?.data;
  }

  async function look() {
    const canvas = document.createElement("canvas");
    const own = "BarcodeDetector" in window ? new window.BarcodeDetector() : null;
    while (stream) {
      if (video.videoWidth) {
        const width = Math.min(960, video.videoWidth);
        canvas.width = width;
        canvas.height = Math.round((width * video.videoHeight) / video.videoWidth);
        canvas.getContext("2d", { willReadFrequently: true }).drawImage(video, 0, 0, canvas.width, canvas.height);
        let words = null;
        try { words = await read(canvas, own); } catch { words = null; }
        if (words) {
          say.textContent = words;
          stop();
          location.href = "/find?q=" + encodeURIComponent(words.trim());
          return;
        }
      }
      await new Promise((next) => setTimeout(next, 120));
    }
  }

  button.addEventListener("click", async () => {
    dialog.showModal();
    say.textContent = "Hold the label before the camera.";
    try {
      await reader();
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      video.srcObject = stream;
      await video.play();
      look();
    } catch (fault) {
      say.textContent = "The camera cannot be used (" + fault.name + "). Allow it in the browser, or type the serial.";
    }
  });
  dialog.addEventListener("close", stop);
})();
