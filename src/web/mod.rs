//! HTTP in, HTML out; a page is a struct, and the struct is the whole contract with its template.
