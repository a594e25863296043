//! Season plans: from needs on many plots to weighed doses and whole packs.
