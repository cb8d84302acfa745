// The camera at the back, and what it sees: every square in view, not the first one alone. The browser's own detector
// where it has one for these squares, else the decoder that is served with the page.
import { decodeQRBatch } from "../vendor/qr/decode.js";

const PAUSE_MS = 120;
const LARGEST = 1280; // a square on a label needs no more, and a slow phone takes its time over each pixel
const WANTED = { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } };

async function nativeDetector() {
  try {
    const known = await globalThis.BarcodeDetector?.getSupportedFormats();
    return known?.includes("qr_code") ? new globalThis.BarcodeDetector({ formats: ["qr_code"] }) : null;
  } catch {
    return null;
  }
}

function pixels(source, width, height) {
  const scale = Math.min(1, LARGEST / Math.max(width, height));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [Math.round(width * scale), Math.round(height * scale)];
  const drawn = canvas.getContext("2d", { willReadFrequently: true });
  drawn.drawImage(source, 0, 0, canvas.width, canvas.height);
  return drawn.getImageData(0, 0, canvas.width, canvas.height);
}

async function decoded(source, width, height) {
  const image = pixels(source, width, height);
  const [found] = await decodeQRBatch([image], { maxSize: { width: image.width, height: image.height } });
  return found.filter((one) => typeof one === "string");
}

const distinct = (texts) => [...new Set(texts)];

// The text of every square in a picture: [] where there is none, or where the file is no picture.
export async function squaresIn(file) {
  try {
    const picture = await createImageBitmap(file);
    return distinct(await decoded(picture, picture.width, picture.height));
  } catch {
    return [];
  }
}

// Shows the camera in `video` and calls `seen(texts)` whenever one or more squares are in view, until it is stopped.
// Stands still while the page is hidden. Rejects with the browser's error where there is no camera or it is refused.
export async function watch(video, seen) {
  const detector = await nativeDetector();
  let stopped = false, stream = null, timer = 0;

  async function look(mine) {
    try {
      if (video.readyState >= 2) {
        const texts = detector
          ? (await detector.detect(video)).map((one) => one.rawValue)
          : await decoded(video, video.videoWidth, video.videoHeight);
        if (texts.length && stream === mine) seen(distinct(texts));
      }
    } catch {
      // a frame that could not be read: the next one may be
    }
    if (stream === mine) timer = setTimeout(look, PAUSE_MS, mine);
  }

  function close() {
    clearTimeout(timer);
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    video.srcObject = null;
  }

  async function open() {
    const asked = await navigator.mediaDevices.getUserMedia({ video: WANTED, audio: false });
    if (stopped || document.hidden || stream) return asked.getTracks().forEach((track) => track.stop());
    stream = asked;
    video.srcObject = stream;
    await video.play().catch(() => {});
    look(stream);
  }

  const onHidden = () => (document.hidden ? close() : !stream && open().catch(() => {}));
  await open();
  document.addEventListener("visibilitychange", onHidden);

  const track = () => stream?.getVideoTracks()[0];
  return {
    stop() {
      stopped = true;
      document.removeEventListener("visibilitychange", onHidden);
      close();
    },
    hasTorch: () => Boolean(track()?.getCapabilities?.().torch),
    torch: (on) => track()?.applyConstraints({ advanced: [{ torch: on }] }),
  };
}
