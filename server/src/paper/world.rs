//! The files, fonts and date that a layout may ask for: those of one document and nothing else.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime};
use typst::syntax::{FileId, Source, VirtualPath};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};

use super::Document;

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));
/// The fonts that ship in the program, so that a report looks the same on every machine.
static FONTS: LazyLock<Vec<Font>> =
    LazyLock::new(|| typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data))).collect());
static BOOK: LazyLock<LazyHash<FontBook>> = LazyLock::new(|| LazyHash::new(FontBook::from_fonts(FONTS.iter())));

pub(super) struct PaperWorld {
    main: Source,
    files: BTreeMap<FileId, Bytes>,
}

impl PaperWorld {
    pub(super) fn of(document: &Document) -> Self {
        let id = |name: &str| FileId::new(None, VirtualPath::new(name));
        let main = Source::new(id("main.typ"), document.template.source().to_owned());
        let mut files = BTreeMap::new();
        files.insert(id("data.json"), Bytes::new(document.data.to_string().into_bytes()));
        for (name, bytes) in &document.pictures {
            files.insert(id(name), Bytes::new(bytes.clone()));
        }
        Self { main, files }
    }
}

impl World for PaperWorld {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }
    fn book(&self) -> &LazyHash<FontBook> {
        &BOOK
    }
    fn main(&self) -> FileId {
        self.main.id()
    }
    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::NotSource) }
    }
    fn file(&self, id: FileId) -> FileResult<Bytes> {
        self.files.get(&id).cloned().ok_or(FileError::AccessDenied)
    }
    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }
    /// A document names its dates itself; the day on which it is laid out must not change its bytes.
    fn today(&self, _: Option<i64>) -> Option<Datetime> {
        None
    }
}
