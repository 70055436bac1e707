//! Why a scan or a typed serial is not taken as it is. Every reason is a name; words for it stand in the language files.

/// Why a text is not taken as a serial, or is taken only after a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Problem {
    /// Nothing, or nothing but separators.
    Empty,
    /// More characters than a carrier or a serial can have.
    TooLong,
    /// A control character inside the text.
    ControlCharacters,
    /// A letter or digit outside ASCII that NFKC leaves: Cyrillic and Greek twins of Latin letters look the same.
    NonAsciiLetters,
    /// A sign outside ASCII, for example a long dash or an invisible space.
    NonAsciiSigns,
    /// Scientific notation: a spreadsheet has destroyed the number.
    DestroyedNumber,
    /// The separator after a field of variable length is missing, so where it ends is a guess: scan again.
    SeparatorLost,
    /// A check digit does not fit: scan again.
    CheckDigitWrong,
    /// A field has the wrong length or characters for its identifier.
    FieldFormat,
    /// A field gives a day that is not in the calendar.
    NotADate,
    /// An identifier that the table does not know, so nothing after it can be read.
    UnknownIdentifier,
    /// Two fields that exclude each other, or a field without the one that it needs.
    Association,
    /// The same field twice with different values.
    Contradiction,
    /// A link's parts stand in the wrong order.
    QualifierOrder,
    /// A link without its required part.
    QualifierMissing,
    /// An envelope is not closed or not formed as ISO/IEC 15434 asks.
    EnvelopeForm,
    /// This names a product (GTIN, EAN), not one item of it.
    ProductNotItem,
    /// This names a shipment, a place or a model, not one item.
    NoSerial,
    /// A web address without a serial that can be read from it.
    LinkNotSerial,
    /// Six pairs of hexadecimal digits: a network address.
    LooksLikeMac,
    /// Fifteen digits with a Luhn check: a radio modem's number.
    LooksLikeImei,
    /// Nineteen or twenty digits from 89: a SIM card's number.
    LooksLikeIccid,
}

impl Problem {
    /// Whether a person who looks at the label may say "it is the serial all the same". The rest asks for another
    /// scan, another text or a photo.
    #[must_use]
    pub fn may_be_confirmed(self) -> bool {
        match self {
            Self::ProductNotItem | Self::LooksLikeMac | Self::LooksLikeImei | Self::LooksLikeIccid => true,
            Self::Empty
            | Self::TooLong
            | Self::ControlCharacters
            | Self::NonAsciiLetters
            | Self::NonAsciiSigns
            | Self::DestroyedNumber
            | Self::SeparatorLost
            | Self::CheckDigitWrong
            | Self::FieldFormat
            | Self::NotADate
            | Self::UnknownIdentifier
            | Self::Association
            | Self::Contradiction
            | Self::QualifierOrder
            | Self::QualifierMissing
            | Self::EnvelopeForm
            | Self::NoSerial
            | Self::LinkNotSerial => false,
        }
    }
}
