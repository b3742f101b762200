//! Files of reference rates, good and hostile. The form is the public one, written from memory; all figures are invented.

use proptest::prelude::*;

use super::*;

const DAILY: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<gesmes:Envelope xmlns:gesmes="http://www.gesmes.org/xml/2002-08-01" xmlns="urn:reference:rates">
	<gesmes:subject>Reference rates</gesmes:subject>
	<gesmes:Sender>
		<gesmes:name>A central bank &amp; others</gesmes:name>
	</gesmes:Sender>
	<Cube>
		<Cube time='2026-02-27'>
			<Cube currency='USD' rate='1.0835'/>
			<Cube currency='JPY' rate='162.40'/>
			<Cube currency='XXX' rate='a rate of nothing'/>
			<Cube currency='NOK' rate='11.4025'/></Cube>
	</Cube>
</gesmes:Envelope>
"#;

fn shown(rates: &ReferenceRates) -> Vec<String> {
    let days = rates.days.iter();
    days.flat_map(|(day, rates)| {
        rates
            .iter()
            .map(move |(currency, rate)| format!("{day} {currency} {rate}"))
    })
    .collect()
}

fn of_days(days: &str) -> String {
    format!("<Envelope><Cube>{days}</Cube></Envelope>")
}

fn of_rates(rates: &str) -> String {
    of_days(&format!("<Cube time=\"2026-02-27\">{rates}</Cube>"))
}

#[track_caller]
fn refused(file: impl AsRef<[u8]>, part: &str) {
    let found = read_reference_rates(file.as_ref()).map_err(|error| error.to_string());
    assert!(
        found.as_ref().is_err_and(|error| error.contains(part)),
        "{found:?}"
    );
}

#[test]
fn a_file_of_one_day_is_read() {
    for file in [DAILY.to_owned(), format!("\u{feff}{DAILY}")] {
        let rates = read_reference_rates(file.as_bytes()).expect("a file");
        let expected = [
            "2026-02-27 JPY 162.4",
            "2026-02-27 NOK 11.4025",
            "2026-02-27 USD 1.0835",
        ];
        assert_eq!(shown(&rates), expected);
        assert_eq!(rates.unknown_currencies, 1);
    }
}

#[test]
fn a_file_of_many_days_is_read_whatever_their_order_and_prefixes() {
    let file = r#"<a:Envelope xmlns:a="x" xmlns:b="y"><b:Cube><b:Cube time="2026-02-26"><b:Cube rate="11.5" currency="NOK"></b:Cube>
        <note><Cube currency="NOK" rate="2"/></note></b:Cube><b:Cube b:time="2026-02-25"/>
        <b:Cube time="2026-02-27"><b:Cube currency="&#78;OK" rate=" 11.6 "/></b:Cube></b:Cube></a:Envelope>"#;
    let rates = read_reference_rates(file.as_bytes()).expect("a file");
    assert_eq!(
        shown(&rates),
        ["2026-02-26 NOK 11.5", "2026-02-27 NOK 11.6"]
    );
    assert_eq!(rates.days.len(), 3);
}

#[test]
fn a_number_that_is_no_rate_refuses_the_file() {
    for bad in [
        "1e5", "NaN", "inf", "-1.5", "0", "0.000", "1,5", "", "+1", "0x1", "１",
    ] {
        let file = of_rates(&format!(
            "<Cube currency=\"NOK\" rate=\"11\"/><Cube currency=\"USD\" rate=\"{bad}\"/>"
        ));
        refused(file, "USD on 2026-02-27: ");
    }
    let long = of_rates("<Cube currency=\"USD\" rate=\"1.08351234567\"/>");
    refused(long, "at most 10 significant digits");
}

#[test]
fn what_stands_twice_or_is_missing_refuses_the_file() {
    let day = "<Cube time=\"2026-02-27\"/>";
    refused(
        of_days(&day.repeat(2)),
        "2026-02-27 stands in the file twice",
    );
    let rate = "<Cube currency=\"USD\" rate=\"1\"/>";
    refused(of_rates(&rate.repeat(2)), "USD stands on 2026-02-27 twice");
    refused(of_days("<Cube/>"), "has no \"time\"");
    refused(of_rates("<Cube rate=\"1\"/>"), "has no \"currency\"");
    refused(
        of_rates("<Cube currency=\"USD\"/>"),
        "2026-02-27 has no \"rate\"",
    );
    refused(
        of_days("<Cube time=\"27.02.2026\"/>"),
        "time=\"27.02.2026\" is not written",
    );
    refused(
        of_days("<Cube time=\"2026-02-30\"/>"),
        "February 2026 has 28 days",
    );
    refused(of_days(""), "no Cube with a time");
    refused("<Envelope/>", "no Cube with a time");
}

#[test]
fn what_is_no_such_file_is_refused() {
    refused("", "ends too early");
    refused("garbage", "text before the root");
    refused("<html><body>Not found</body></html>", "\"html\" is no file");
    refused(format!("{DAILY}<Envelope/>"), "a second root");
    refused(format!("{DAILY}more"), "text after the root");
    refused(b"\xFF\xFE<\0", "byte 1 is not valid UTF-8");
    refused("{\"rates\": {}}", "text before the root");
    refused("<Envelope><Cube></Envelope></Cube>", "not well-formed");
    refused(
        of_rates("<Cube currency=\"USD\" currency=\"NOK\" rate=\"1\"/>"),
        "not well-formed",
    );
    refused(of_rates("<Cube currency=USD rate=1/>"), "not well-formed");
}

#[test]
fn a_file_that_was_cut_off_anywhere_is_refused() {
    let whole = DAILY.trim_end();
    for (end, _) in whole.char_indices() {
        let cut = &whole[..end];
        assert!(read_reference_rates(cut.as_bytes()).is_err(), "{cut}");
    }
}

#[test]
fn entities_are_never_expanded() {
    let body = of_rates("<Cube currency=\"USD\" rate=\"&a;\"/>");
    let laughs = format!("<!DOCTYPE l [<!ENTITY a \"1\"><!ENTITY b \"&a;&a;\">]>{body}");
    refused(laughs, "document type");
    let outside = format!("<!DOCTYPE l SYSTEM \"file:///etc/passwd\">{body}");
    refused(outside, "document type");
    refused(body, "not well-formed");
}

#[test]
fn a_flood_of_depth_or_attributes_is_refused_at_once() {
    refused("<Envelope>".repeat(300_000), "within each other");
    let many: String = (0..300_000).map(|at| format!(" a{at}=''")).collect();
    refused(format!("<Envelope{many}/>"), "more than 16 attributes");
    let empty = of_rates(&"<x/>".repeat(300_000));
    assert!(read_reference_rates(empty.as_bytes()).is_ok());
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read_reference_rates(&bytes);
    }

    #[test]
    fn text_like_a_file_is_read_or_refused(
        parts in prop::collection::vec(prop::sample::select(vec![
            "<Envelope>", "</Envelope>", "<Cube>", "</Cube>", "<Cube time='2026-02-27'>", "<Cube/>", "<!--", "-->", "<![CDATA[",
            "]]>", "<!DOCTYPE", "<?", "?>", "&amp;", "&x;", "'", "\"", "=", ">", "<", " time=", " rate='1'", " currency='USD'", "a:",
        ]), 0..30),
    ) {
        let _ = read_reference_rates(parts.concat().as_bytes());
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(at in 0..DAILY.len(), byte in any::<u8>()) {
        let mut bytes = DAILY.as_bytes().to_vec();
        bytes[at] = byte;
        let _ = read_reference_rates(&bytes);
    }
}
