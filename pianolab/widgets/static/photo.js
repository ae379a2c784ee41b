// Photos of a point: chosen or taken through a file field, made smaller before they are sent, shown small.

const PHOTO_SIDE = 2400;
const PHOTO_BYTES = 8 * 1024 * 1024; // one message to the kernel may not be much larger

async function photoBytes(file) {
  let picture = null;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    picture = null; // the browser can't read it; Python says what it is, or keeps it
  }
  const side = picture ? Math.max(picture.width, picture.height) : 0;
  // A browser that can read a telephone's own format sends it as JPEG, which everybody can read.
  const common = /^image\/(jpeg|png|webp|tiff|bmp|gif)$/.test(file.type) || !picture;
  if (common && file.size <= PHOTO_BYTES && side <= PHOTO_SIDE) return file.arrayBuffer();
  if (!picture) throw new Error(`${file.name}: got ${file.size} bytes that this browser can't show, need a photo of up to ${PHOTO_BYTES} bytes. Save it as JPEG.`);
  const scale = Math.min(1, PHOTO_SIDE / side);
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.88));
  return blob.arrayBuffer();
}

function photoRow({ label, add, drop, wanted }) {
  const input = make("input", { type: "file", accept: "image/*,.heic,.heif", multiple: true, hidden: true, "aria-label": `Photo for ${label}`, onchange: take });
  const button = make("button", { type: "button", class: "pl-button", onclick: () => input.click() }, sign("camera"), make("span", { text: wanted ? "Add a photo (worth taking)" : "Add a photo" }));
  const list = make("ul", { class: "pl-photos" });
  const line = make("p", { class: "pl-line", role: "alert" });
  const node = make("div", { class: "pl-photo-row" }, make("div", { class: "pl-row" }, button, input), line, list);
  let shown = "";

  async function take() {
    const files = [...input.files];
    input.value = "";
    setText(line, "");
    for (const file of files) {
      try {
        add(file.name, await photoBytes(file));
      } catch (error) {
        setText(line, `Not saved. ${error.message}`);
      }
    }
  }
  node.choose = () => input.click();
  node.show = (ids, pictures) => {
    const key = ids.map((id) => `${id}${id in pictures}`).join();
    if (key === shown) return;
    shown = key;
    list.replaceChildren(...ids.map((id, i) => make("li", { class: "pl-photo" },
      pictures[id] ? make("img", { src: pictures[id], alt: `Photo ${i + 1} of ${label}` }) : make("span", { class: "pl-soft", text: "This photo can't be shown." }),
      make("button", { type: "button", class: "pl-button pl-square", "aria-label": `Take out photo ${i + 1}`, text: "×", onclick: () => drop(id) }))));
  };
  return node;
}
